//! Identifiers of catalogue entries, one type per kind so that a sign can never be passed for a cause.

/// Makes types that wrap an identifier.
macro_rules! identifiers {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(
            Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
        )]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            /// Wraps an identifier; whether it exists is the caller's question.
            pub fn new(id: impl Into<String>) -> Self {
                Self(id.into())
            }

            /// The identifier as it is written.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl From<String> for $name {
            fn from(id: String) -> Self {
                Self(id)
            }
        }

        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str {
                &self.0
            }
        }

        impl std::borrow::Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }
    )*};
}

pub(crate) use identifiers;

identifiers! {
    /// A tool class: tools that share a build and are counted together.
    ClassId,
    /// A part that can fail.
    ComponentId,
    /// A component with a mechanism.
    CauseId,
    /// What happened shortly before.
    AntecedentId,
    /// A structured observation.
    SignId,
    /// Something a person does to find a cause.
    CheckId,
    /// A hazard and how it is met.
    CautionId,
}
