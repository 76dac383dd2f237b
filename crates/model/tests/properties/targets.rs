//! Every path of the format resolves to a field with the same path, and an unknown path is an error
//! with the nearest one.

use obvert_model::layout::Target;
use obvert_model::profile::FieldPath;
use obvert_model::shape::{self, ObjectShape, Shape};
use proptest::prelude::*;
use proptest::sample::select;

/// Every path of the format, collected without [`Target`].
fn paths() -> Vec<String> {
    fn below(object: &ObjectShape, above: &[&str], paths: &mut Vec<String>) {
        for field in &object.fields {
            let keys = [above, &[field.name.as_str()]].concat();
            paths.push(keys.join("."));
            let mut shape = &field.shape;
            while let Shape::List(item) = shape {
                shape = item;
            }
            if let Shape::Object(name) = shape {
                below(shape::object(name), &keys, paths);
            }
        }
    }
    let mut paths = Vec::new();
    below(shape::document(), &[], &mut paths);
    // Layouts cannot map to the schema's address, whose key a path cannot spell, or to the list of
    // runs itself.
    paths.retain(|path| path.parse::<FieldPath>().is_ok() && path != "runs");
    paths
}

#[test]
fn every_path_of_the_format_round_trips_as_text() {
    let paths = paths();
    assert!(paths.len() > 150, "{}", paths.len());
    for path in paths {
        let target = Target::resolve(&path.parse().unwrap())
            .unwrap_or_else(|error| panic!("{path}: {error}"));
        assert_eq!((target.path(), target.to_string()), (path.as_str(), path.clone()));
        assert_eq!(target.keys().last().unwrap(), &target.field().name);
        assert!(path.ends_with(&target.keys().join(".")), "{path}");
    }
}

proptest! {
    /// A path with a letter removed or added is unknown, or another known path.
    #[test]
    fn a_misspelt_path_is_an_error_with_the_nearest(path in select(paths()), at in 0..40_usize, letter in "[a-z]?") {
        let letters: Vec<(usize, char)> = path.char_indices().filter(|(_, letter)| letter.is_ascii_lowercase()).collect();
        let (at, old) = letters[at % letters.len()];
        let misspelt = format!("{}{letter}{}", &path[..at], &path[at + if letter.is_empty() { old.len_utf8() } else { 0 }..]);
        let Ok(misspelt) = misspelt.parse::<FieldPath>() else { return Ok(()) };
        match Target::resolve(&misspelt) {
            Ok(target) => prop_assert_eq!(target.path(), misspelt.as_str()),
            Err(error) => {
                prop_assert!(!paths().iter().any(|known| *known == *misspelt), "{}", misspelt);
                if let Some(near) = &error.near {
                    prop_assert!(near.split('.').count() == misspelt.split('.').count(), "{} {}", near, misspelt);
                }
                // A key of five letters is near enough with one letter more or less.
                let key = path.split('.').nth(path[..at].matches('.').count()).unwrap_or_default();
                prop_assert!(key.len() < 5 || error.near.is_some(), "{}: {:?}", misspelt, error);
            }
        }
    }
}
