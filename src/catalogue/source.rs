//! Reads the catalogue's files, and the cracking patterns beside it, from a folder, or from the
//! copy built into the program.

use std::{fs, io, path::Path};

use rust_embed::RustEmbed;

use sha2::{Digest, Sha256};

use super::{Catalogue, Mistake, Mistakes, SourceFile, parse};
use crate::vacuum::residual_gas::{PatternError, Patterns};

/// The name under which a site puts cracking patterns of its own.
pub const PATTERNS: &str = "cracking-patterns.toml";

#[derive(RustEmbed)]
#[folder = "$CARGO_MANIFEST_DIR/seed-data/catalogue"]
struct BuiltIn;

/// Why a catalogue could not be had.
#[derive(Debug, thiserror::Error)]
pub enum SourceError {
    /// A file could not be read.
    #[error("cannot read the catalogue file {path}: {cause}")]
    Unreadable {
        /// The file or folder.
        path: String,
        /// What the system said.
        cause: io::Error,
    },
    /// The files were read and are wrong.
    #[error(transparent)]
    Mistakes(#[from] Mistakes),
}

/// The catalogue built into the program.
///
/// # Errors
/// Mistakes in the files it was built from.
pub fn built_in() -> Result<Catalogue, Mistakes> {
    let files: Vec<_> = BuiltIn::iter()
        .filter_map(|path| {
            let file = BuiltIn::get(&path)?;
            Some(SourceFile {
                path: path.into_owned(),
                text: String::from_utf8_lossy(&file.data).into_owned(),
            })
        })
        .collect();
    parse(&files)
}

/// The catalogue in a folder of the same shape as `seed-data/catalogue`.
///
/// # Errors
/// An unreadable file, or every mistake found, with file and line.
pub fn folder(root: &Path) -> Result<Catalogue, SourceError> {
    let mut files = Vec::new();
    for (folder, prefix) in [(root.to_owned(), ""), (root.join("checks"), "checks/")] {
        let unreadable = |cause| SourceError::Unreadable {
            path: folder.display().to_string(),
            cause,
        };
        for entry in fs::read_dir(&folder).map_err(unreadable)? {
            let path = entry.map_err(unreadable)?.path();
            if !path.is_file() {
                continue;
            }
            let Some(name) = path.file_name().and_then(|name| name.to_str()) else {
                continue;
            };
            let text = fs::read_to_string(&path).map_err(|cause| SourceError::Unreadable {
                path: path.display().to_string(),
                cause,
            })?;
            files.push(SourceFile {
                path: format!("{prefix}{name}"),
                text,
            });
        }
    }
    Ok(parse(&files)?)
}

/// The cracking patterns built into the program.
///
/// # Errors
/// Mistakes in the file it was built from.
pub fn built_in_patterns() -> Result<Patterns, Mistakes> {
    let text = include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/seed-data/cracking-patterns.toml"
    ));
    Patterns::parse(text, "those shipped with the program")
        .map_err(|errors| mistakes(PATTERNS, errors))
}

/// The cracking patterns a site uses: its own, from the first of these folders that has a file
/// [`PATTERNS`], or those built in.
///
/// # Errors
/// A file that is there and cannot be read, or every mistake in it with its line.
pub fn patterns<'a>(folders: impl IntoIterator<Item = &'a Path>) -> Result<Patterns, SourceError> {
    for folder in folders {
        let file = folder.join(PATTERNS);
        let path = file.display().to_string();
        let text = match fs::read_to_string(&file) {
            Ok(text) => text,
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => continue,
            Err(cause) => return Err(SourceError::Unreadable { path, cause }),
        };
        let digest: String = Sha256::digest(text.as_bytes())
            .iter()
            .take(6)
            .map(|byte| format!("{byte:02x}"))
            .collect();
        let origin = format!("this site's own file {PATTERNS} (SHA-256 {digest}…)");
        return Ok(Patterns::parse(&text, origin).map_err(|errors| mistakes(&path, errors))?);
    }
    Ok(built_in_patterns()?)
}

fn mistakes(path: &str, errors: Vec<PatternError>) -> Mistakes {
    Mistakes(
        errors
            .into_iter()
            .map(|error| Mistake {
                path: path.to_owned(),
                line: error.line,
                problem: error.problem,
            })
            .collect(),
    )
}
