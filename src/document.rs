//! `format` and `version` of every JSON document, set and read in one way.

use std::fmt;
use std::marker::PhantomData;

use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A kind of document.
pub trait Format {
    /// The word that it goes by, such as `subwell.plan`.
    const FORMAT: &'static str;
    /// The version that this program writes and reads.
    const VERSION: u32 = 1;
}

/// Stands in a document of kind `T` as its fields `format` and `version`; a document of another kind or version is refused
/// when it is read.
///
/// # Examples
/// ```
/// use serde::{Deserialize, Serialize};
/// use subwell::document::{Format, Stamp};
///
/// #[derive(Serialize, Deserialize)]
/// struct Note {
///     #[serde(flatten)]
///     stamp: Stamp<Note>,
///     text: String,
/// }
/// impl Format for Note {
///     const FORMAT: &'static str = "subwell.note";
/// }
///
/// let json = serde_json::to_string(&Note { stamp: Stamp::new(), text: "a".into() })?;
/// assert_eq!(json, r#"{"format":"subwell.note","version":1,"text":"a"}"#);
/// assert!(serde_json::from_str::<Note>(&json).is_ok());
/// assert!(serde_json::from_str::<Note>(&json.replace("note", "plan")).is_err());
/// # Ok::<(), serde_json::Error>(())
/// ```
pub struct Stamp<T>(PhantomData<fn() -> T>);

impl<T> Stamp<T> {
    /// The stamp of this kind of document.
    #[must_use]
    pub const fn new() -> Self {
        Self(PhantomData)
    }
}

impl<T> Default for Stamp<T> {
    fn default() -> Self {
        Self::new()
    }
}

impl<T> Clone for Stamp<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Stamp<T> {}

impl<T> PartialEq for Stamp<T> {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl<T> Eq for Stamp<T> {}

impl<T> fmt::Debug for Stamp<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Stamp")
    }
}

#[derive(Serialize, Deserialize)]
struct Written<'a> {
    #[serde(borrow)]
    format: std::borrow::Cow<'a, str>,
    version: u32,
}

impl<T: Format> Serialize for Stamp<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Written { format: T::FORMAT.into(), version: T::VERSION }.serialize(serializer)
    }
}

impl<'de, T: Format> Deserialize<'de> for Stamp<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let Written { format, version } = Written::deserialize(deserializer)?;
        if format != T::FORMAT {
            return Err(D::Error::custom(format_args!("this is a `{format}` document, not a `{}`", T::FORMAT)));
        }
        if version != T::VERSION {
            let message = format_args!("this {format} has version {version}, the program reads version {}", T::VERSION);
            return Err(D::Error::custom(message));
        }
        Ok(Self::new())
    }
}

/// A result whose type has no stamp of its own, as a document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(bound(deserialize = "T: Format + Deserialize<'de>", serialize = "T: Format + Serialize"))]
#[cfg_attr(feature = "schema", schemars(bound = "T: Format + schemars::JsonSchema"))]
pub struct Document<T> {
    /// `format` and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<T>,
    /// The result.
    #[serde(flatten)]
    pub content: T,
}

impl<T> Document<T> {
    /// The document of a result.
    #[must_use]
    pub const fn new(content: T) -> Self {
        Self { stamp: Stamp::new(), content }
    }
}

impl<T: Format> Format for &T {
    const FORMAT: &'static str = T::FORMAT;
    const VERSION: u32 = T::VERSION;
}

/// What `simulate --json` prints.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Simulation {
    /// `format`, always `subwell.simulation`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// Frames that were written.
    pub written: usize,
}

impl Format for Simulation {
    const FORMAT: &'static str = "subwell.simulation";
}

/// What a command that fails prints with `--json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Failure {
    /// `format`, always `subwell.error`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// A fixed word that programs can test for.
    pub code: String,
    /// What is wrong.
    pub message: String,
    /// What helps.
    pub hint: String,
}

impl Format for Failure {
    const FORMAT: &'static str = "subwell.error";
}

#[cfg(feature = "schema")]
impl<T: Format> schemars::JsonSchema for Stamp<T> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        format!("Stamp of {}", T::FORMAT).into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": "object",
            "properties": {
                "format": { "const": T::FORMAT, "description": "The kind of document." },
                "version": { "const": T::VERSION, "description": "The version of the format." },
            },
            "required": ["format", "version"],
        })
    }
}
