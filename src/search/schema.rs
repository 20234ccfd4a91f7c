//! The fields of the index.

use tantivy::schema::{
    FAST, Field, INDEXED, IndexRecordOption, STORED, STRING, Schema, TextFieldIndexing, TextOptions,
};

use super::analysis;

/// Counted up whenever fields or analysis change; an index of another version is not
/// opened but built anew beside it.
pub(super) const VERSION: u32 = 1;

/// Handles on the fields.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fields {
    pub(super) number: Field,
    pub(super) revision: Field,
    pub(super) status: Field,
    pub(super) tool: Field,
    pub(super) site: Field,
    pub(super) class: Field,
    pub(super) kind: Field,
    pub(super) cause: Field,
    pub(super) occurred_at: Field,
    pub(super) symptom: Field,
    pub(super) cause_text: Field,
    pub(super) fix: Field,
    pub(super) notes: Field,
    pub(super) facts: Field,
}

/// The searched text fields with what a word in each is worth. Symptom first: that is
/// what the person at the tool has before them.
pub(super) const TEXT_WEIGHTS: [(&str, f32); 5] = [
    ("symptom", 2.0),
    ("cause", 1.4),
    ("fix", 1.2),
    ("notes", 0.8),
    ("facts", 0.7),
];

impl Fields {
    /// The searched text fields with what a word in each is worth.
    pub(super) fn texts(&self) -> [(Field, f32); 5] {
        [
            (self.symptom, TEXT_WEIGHTS[0].1),
            (self.cause_text, TEXT_WEIGHTS[1].1),
            (self.fix, TEXT_WEIGHTS[2].1),
            (self.notes, TEXT_WEIGHTS[3].1),
            (self.facts, TEXT_WEIGHTS[4].1),
        ]
    }
}

/// Builds the schema.
pub(super) fn schema() -> (Schema, Fields) {
    let mut builder = Schema::builder();
    let text = TextOptions::default().set_indexing_options(
        TextFieldIndexing::default()
            .set_tokenizer(analysis::NAME)
            .set_index_option(IndexRecordOption::WithFreqsAndPositions),
    );
    let fields = Fields {
        number: builder.add_i64_field("number", INDEXED | STORED | FAST),
        revision: builder.add_i64_field("revision", STORED | FAST),
        status: builder.add_text_field("status", STRING),
        tool: builder.add_text_field("tool", STRING),
        site: builder.add_text_field("site", STRING),
        class: builder.add_text_field("class", STRING),
        kind: builder.add_text_field("kind", STRING),
        cause: builder.add_text_field("cause_id", STRING),
        occurred_at: builder.add_i64_field("occurred_at", INDEXED | FAST),
        symptom: builder.add_text_field("symptom", text.clone()),
        cause_text: builder.add_text_field("cause", text.clone()),
        fix: builder.add_text_field("fix", text.clone()),
        notes: builder.add_text_field("notes", text.clone()),
        facts: builder.add_text_field("facts", text),
    };
    (builder.build(), fields)
}
