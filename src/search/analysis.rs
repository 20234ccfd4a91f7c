//! How text becomes words: split, lowered, folded to plain letters, stemmed.

use tantivy::tokenizer::{
    AsciiFoldingFilter, Language, LowerCaser, RemoveLongFilter, SimpleTokenizer, Stemmer,
    TextAnalyzer, TokenStream,
};

/// The name under which the analyser is registered with an index.
pub(super) const NAME: &str = "incident-text";

/// Longer words are numbers pasted from somewhere, never words.
const LONGEST_WORD: usize = 40;

/// One word of a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Word {
    /// What the index holds.
    pub(super) stem: String,
    /// Where it stands in the text, in bytes.
    pub(super) from: usize,
    /// Where it ends.
    pub(super) to: usize,
}

/// The analyser for incident text.
pub(super) fn analyser() -> TextAnalyzer {
    TextAnalyzer::builder(SimpleTokenizer::default())
        .filter(RemoveLongFilter::limit(LONGEST_WORD))
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter)
        .filter(Stemmer::new(Language::English))
        .build()
}

/// The words of a text in order.
pub(super) fn words(text: &str) -> Vec<Word> {
    let mut analyser = analyser();
    let mut stream = analyser.token_stream(text);
    let mut words = Vec::new();
    while let Some(token) = stream.next() {
        words.push(Word {
            stem: token.text.clone(),
            from: token.offset_from,
            to: token.offset_to,
        });
    }
    words
}
