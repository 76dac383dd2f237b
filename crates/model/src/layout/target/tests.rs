//! The fields that layouts map to.

use super::*;

#[test]
fn the_format_has_every_field_with_a_name() {
    for (path, number) in NAMED.iter().zip(0..) {
        assert_eq!(Target::named(path), Some(Target(number)), "{path}");
    }
    for record in Record::LISTED {
        assert!(Target::named(record.list()).is_some(), "{}", record.list());
    }
}

#[test]
fn fields_are_in_the_order_of_their_paths() {
    let paths: Vec<&str> = Target::all().map(Target::path).collect();
    assert!(paths.len() > 150 && paths.is_sorted(), "{paths:?}");
}

#[test]
fn a_value_is_set_where_it_is_read() {
    for target in Target::all() {
        let mut record = Map::new();
        target.put(&mut record, "x".into());
        assert_eq!(target.get_in(&record), Some(&"x".into()), "{target}");
        let record = Value::Object(record);
        assert_eq!(target.get(&record), Some(&"x".into()), "{target}");
        assert_eq!(record.pointer(target.pointer()), Some(&"x".into()), "{target}");
    }
}
