//! Reads the catalogue's files from a folder, or from the copy built into the program.

use std::{fs, io, path::Path};

use rust_embed::RustEmbed;

use super::{Catalogue, Mistakes, SourceFile, parse};

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
