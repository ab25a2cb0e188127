//! How tuning numbers are declared: once, with meaning, unit, default, range and source.
//!
//! A stage declares its own struct with [`stage_params!`](crate::stage_params); `overarm params` prints what stands here,
//! a record stores it, and nothing else repeats a default.

use serde::Serialize;

/// One tuning number as `overarm params` prints it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ParamRow {
    /// Stage, as in `serve`.
    pub stage: &'static str,
    /// Field name; ends in its unit.
    pub name: &'static str,
    /// Value in force.
    pub value: f64,
    /// Default.
    pub default: f64,
    /// Unit, `1` for none.
    pub unit: &'static str,
    /// Smallest and largest accepted value.
    pub range: (f64, f64),
    /// What it does, and which way.
    pub meaning: String,
    /// Where the default comes from.
    pub source: &'static str,
}

/// A tuning number outside its range.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{stage}.{name} = {value} {unit}: want {low} to {high} {unit}")]
pub struct ParamError {
    /// Stage.
    pub stage: &'static str,
    /// Field.
    pub name: &'static str,
    /// Value found.
    pub value: f64,
    /// Unit.
    pub unit: &'static str,
    /// Smallest accepted.
    pub low: f64,
    /// Largest accepted.
    pub high: f64,
}

/// A stage's tuning numbers, listed.
pub trait StageParams {
    /// Every number with its description, in the order of declaration.
    fn rows(&self) -> Vec<ParamRow>;

    /// Errors with the first number outside its range.
    fn check(&self) -> Result<(), ParamError> {
        match self
            .rows()
            .into_iter()
            .find(|r| !(r.range.0..=r.range.1).contains(&r.value))
        {
            None => Ok(()),
            Some(r) => Err(ParamError {
                stage: r.stage,
                name: r.name,
                value: r.value,
                unit: r.unit,
                low: r.range.0,
                high: r.range.1,
            }),
        }
    }
}

/// Declares a stage's parameter struct with its default, checks and description.
///
/// ```
/// overarm::stage_params! {
///     /// Example stage.
///     pub struct ExampleParams in "example" {
///         /// Length of the window. Larger smooths more.
///         window_s: f64 = 0.5, "s", 0.1, 2.0, "own choice";
///     }
/// }
/// use overarm::params::StageParams;
/// assert_eq!(ExampleParams::default().rows()[0].unit, "s");
/// assert!(ExampleParams { window_s: 9.0 }.check().is_err());
/// ```
#[macro_export]
macro_rules! stage_params {
    ($(#[$struct_attr:meta])* pub struct $Name:ident in $stage:literal {
        $( $(#[doc = $doc:literal])+ $field:ident : $ty:ty = $default:expr, $unit:literal, $low:expr, $high:expr, $source:expr; )+
    }) => {
        $(#[$struct_attr])*
        #[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
        #[serde(default, deny_unknown_fields)]
        pub struct $Name {
            $( $(#[doc = $doc])+ #[doc = concat!("\n\nUnit: ", $unit, ". Default: `", stringify!($default), "`. Source: ", $source, ".")] pub $field: $ty, )+
        }
        impl Default for $Name {
            fn default() -> Self {
                Self { $( $field: $default, )+ }
            }
        }
        impl $crate::params::StageParams for $Name {
            fn rows(&self) -> Vec<$crate::params::ParamRow> {
                let standard = Self::default();
                vec![ $( $crate::params::ParamRow {
                    stage: $stage,
                    name: stringify!($field),
                    value: self.$field as f64,
                    default: standard.$field as f64,
                    unit: $unit,
                    range: ($low as f64, $high as f64),
                    meaning: concat!($($doc),+).trim().to_owned(),
                    source: $source,
                }, )+ ]
            }
        }
    };
}
