//! The words a site adds: two files in its data folder, read when the index is opened.
//!
//! `words.toml` has the form of the list built in and joins its groups; `pairs.tsv` has a line for
//! each text given twice, as written and as meant, parted by a tab. Mistakes are told by file and
//! line.

use std::{fs, io, path::Path, sync::Arc};

use super::{
    analysis::Analysis,
    pairs::{self, Learnt, MOST_PAIRS},
    words::{self, WordList},
};
use crate::{
    catalogue::Mistake,
    search::{SearchError, WordMistakes},
};

/// The analysis with the words built in and those of the site.
pub(in crate::search) fn analysis(data: &Path) -> Result<Analysis, SearchError> {
    let list = match read(data, words::FILE)? {
        Some(text) => WordList::with_site(&shown(data, words::FILE), &text)?,
        None => WordList::built_in()?,
    };
    let learnt = match read(data, pairs::FILE)? {
        Some(text) => learnt(&shown(data, pairs::FILE), &text)?,
        None => Learnt::default(),
    };
    Ok(Analysis::new(Arc::new(list)).with_learnt(Arc::new(learnt)))
}

fn shown(data: &Path, file: &str) -> String {
    data.join(file).display().to_string()
}

fn read(data: &Path, file: &str) -> Result<Option<String>, SearchError> {
    let path = data.join(file);
    match fs::read_to_string(&path) {
        Ok(text) => Ok(Some(text)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(cause) => Err(SearchError::Folder {
            path: path.display().to_string(),
            cause,
        }),
    }
}

fn learnt(path: &str, text: &str) -> Result<Learnt, WordMistakes> {
    let (mut pairs, mut mistakes) = (Vec::new(), Vec::new());
    for (line, number) in text.lines().zip(1..) {
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        let problem = match line.split_once('\t') {
            Some((written, meant)) if !meant.contains('\t') => {
                pairs.push((written, meant));
                (pairs.len() > MOST_PAIRS)
                    .then(|| format!("there are more than {MOST_PAIRS} pairs; accepted: that many"))
            }
            _ => Some(
                "accepted: a text as written, one tab, the same text as meant; or a line that \
                 begins with #"
                    .to_owned(),
            ),
        };
        if let Some(problem) = problem {
            mistakes.push(Mistake {
                path: path.to_owned(),
                line: number,
                problem,
            });
            if pairs.len() > MOST_PAIRS {
                break;
            }
        }
    }
    if mistakes.is_empty() {
        Ok(Learnt::new(pairs))
    } else {
        Err(WordMistakes(mistakes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mistakes_are_told_with_file_and_line_and_right_files_are_taken() {
        let folder = tempfile::TempDir::new().expect("a temporary folder");
        let put = |file: &str, text: &str| {
            fs::write(folder.path().join(file), text).expect("written");
        };
        assert!(analysis(folder.path()).is_ok());
        put(
            "pairs.tsv",
            "# ours\npmp u/s\tpump unserviceable\n\nno tab\n",
        );
        let told = analysis(folder.path()).expect_err("wrong").to_string();
        assert!(told.contains("pairs.tsv") && told.contains('4'), "{told}");
        put("pairs.tsv", "pmp u/s\tpump unserviceable\n");
        put(
            "words.toml",
            "[[same]]\nwords = [\"foreline\", \"the long pipe\"]\nbasis = \"our name\"\n",
        );
        let both = analysis(folder.path()).expect("right");
        let concept = |text: &str| both.read(text).mentions[0].concepts[0];
        assert_eq!(concept("the long pipe"), concept("backing line"));
        put(
            "words.toml",
            "[[same]]\nwords = [\"alone\"]\nbasis = \"x\"\n",
        );
        let told = analysis(folder.path()).expect_err("wrong").to_string();
        assert!(told.contains("words.toml"), "{told}");
    }
}
