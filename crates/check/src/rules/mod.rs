//! The rules, a folder a family and a file a rule. The list below is the catalogue: a line in it registers a rule.

use crate::rule::Rule;

/// Declares the modules of all rules and lists their declarations.
macro_rules! families {
    ($($family:ident { $($rule:ident),+ $(,)? })+) => {
        $(pub(crate) mod $family { $(pub(crate) mod $rule;)+ })+
        /// Every rule, in the order of the catalogue.
        pub(crate) static CATALOGUE: &[&Rule] = &[$($(&$family::$rule::RULE),+),+];
    };
}

families! {
    distance {
        distance_falls,
    }
    reference {
        unknown_structure,
    }
}
