//! The language that a paper or a drawing is wanted in.

use ohmtrail_words::Tongue;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

/// A language.
#[derive(Debug, Clone, Copy, Default, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Language {
    /// English.
    #[default]
    En,
    /// Spanish.
    Es,
}

impl From<Language> for Tongue {
    fn from(language: Language) -> Self {
        match language {
            Language::En => Tongue::English,
            Language::Es => Tongue::Spanish,
        }
    }
}

/// In which language something is wanted.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Spoken {
    /// `en` or `es`.
    #[serde(default)]
    pub language: Language,
}
