//! The fields of the index.

use tantivy::schema::{
    FAST, Field, INDEXED, IndexRecordOption, STRING, Schema, TextFieldIndexing, TextOptions,
};

use super::document::Part;
use crate::search::reading::{analysis, quantity::Sort};

/// Counted up whenever fields or analysis change; an index of another version is not
/// opened but built anew beside it.
pub(in crate::search) const VERSION: u32 = 15;

/// Handles on the fields.
#[derive(Clone, Copy, Debug)]
pub(in crate::search) struct Fields {
    pub(in crate::search) number: Field,
    pub(in crate::search) revision: Field,
    pub(in crate::search) status: Field,
    pub(in crate::search) tool: Field,
    pub(in crate::search) site: Field,
    pub(in crate::search) class: Field,
    pub(in crate::search) kind: Field,
    pub(in crate::search) cause: Field,
    pub(in crate::search) occurred_at: Field,
    pub(in crate::search) parts: [Field; Part::ALL.len()],
    /// Powers of ten of pascals: at the fault, before it, at any other time.
    pub(in crate::search) fault: Field,
    pub(in crate::search) before: Field,
    pub(in crate::search) other: Field,
    /// In the foreline or the roughing line at the fault.
    pub(in crate::search) elsewhere: Field,
    /// Power of ten of the unit the case is written in, in pascals.
    pub(in crate::search) unit: Field,
    /// The same for cases that may be told alike.
    pub(in crate::search) alike: Field,
    /// Digests of the symptom's words as written.
    pub(in crate::search) surface: Field,
    /// Minutes, kelvin, watts, mass numbers.
    pub(in crate::search) quantities: [Field; Sort::ALL.len()],
    /// What is known beside words: [`crate::search::ranking::circumstances`].
    pub(in crate::search) known: Field,
    /// Signs looked for and not seen.
    pub(in crate::search) unseen: Field,
    /// [`super::Entry::digest`], for comparing with the store; never searched.
    pub(in crate::search) digest: Field,
}

/// Names of the fields that are read by column.
pub(in crate::search) const FAULT: &str = "pressure_fault";
pub(in crate::search) const BEFORE: &str = "pressure_before";
pub(in crate::search) const OTHER: &str = "pressure_other";
pub(in crate::search) const ELSEWHERE: &str = "pressure_elsewhere";
pub(in crate::search) const UNIT: &str = "unit";
pub(in crate::search) const ALIKE: &str = "alike";
pub(in crate::search) const SURFACE: &str = "surface";
pub(in crate::search) const CAUSE: &str = "cause_id";
pub(in crate::search) const DIGEST: &str = "digest";
pub(in crate::search) const KNOWN: &str = "known";
pub(in crate::search) const UNSEEN: &str = "unseen";

impl Fields {
    /// The field of a part.
    pub(in crate::search) fn part(&self, part: Part) -> Field {
        self.parts[part as usize]
    }

    /// The searched text fields.
    pub(in crate::search) fn texts(&self) -> [Field; Part::ALL.len()] {
        Part::ALL.map(|part| self.part(part))
    }
}

/// Builds the schema.
pub(in crate::search) fn schema() -> (Schema, Fields) {
    let mut builder = Schema::builder();
    let text = TextOptions::default().set_indexing_options(
        TextFieldIndexing::default()
            .set_tokenizer(analysis::NAME)
            .set_index_option(IndexRecordOption::WithFreqsAndPositions),
    );
    let fields = Fields {
        number: builder.add_i64_field("number", INDEXED | FAST),
        revision: builder.add_i64_field("revision", FAST),
        status: builder.add_text_field("status", STRING),
        tool: builder.add_text_field("tool", STRING),
        site: builder.add_text_field("site", STRING),
        class: builder.add_text_field("class", STRING),
        kind: builder.add_text_field("kind", STRING),
        cause: builder.add_text_field(CAUSE, STRING | FAST),
        occurred_at: builder.add_i64_field("occurred_at", FAST),
        parts: Part::ALL.map(|part| builder.add_text_field(part.field(), text.clone())),
        fault: builder.add_f64_field(FAULT, FAST),
        before: builder.add_f64_field(BEFORE, FAST),
        other: builder.add_f64_field(OTHER, FAST),
        unit: builder.add_f64_field(UNIT, FAST),
        alike: builder.add_u64_field(ALIKE, FAST),
        surface: builder.add_u64_field(SURFACE, FAST),
        digest: builder.add_u64_field(DIGEST, FAST),
        quantities: Sort::ALL.map(|sort| builder.add_f64_field(sort.column(), FAST)),
        known: builder.add_text_field(KNOWN, STRING | FAST),
        unseen: builder.add_text_field(UNSEEN, FAST),
        elsewhere: builder.add_f64_field(ELSEWHERE, FAST),
    };
    (builder.build(), fields)
}

/// Whether an index with this schema, of another version of the program, can be searched by
/// this one: all that is searched is there, in the same place and at least so laid out.
pub(in crate::search) fn can_be_searched(other: &Schema) -> bool {
    let (own, _) = schema();
    own.fields()
        .filter(|(_, entry)| ![DIGEST, UNSEEN, ELSEWHERE].contains(&entry.name()))
        .all(|(field, entry)| {
            if field.field_id() as usize >= other.num_fields() {
                return false;
            }
            let other = other.get_field_entry(field);
            let (own, kept) = (entry.field_type(), other.field_type());
            entry.name() == other.name()
                && own.value_type() == kept.value_type()
                && (!entry.is_indexed()
                    || own.get_index_record_option() == kept.get_index_record_option())
                && (!entry.is_fast() || other.is_fast())
        })
}
