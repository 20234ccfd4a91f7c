//! The two sheets a plot is drawn on.

/// Letters keep their size on both, so a wide sheet has more room, and not larger words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sheet {
    /// As wide as a phone.
    Phone,
    /// As wide as the page on a desk.
    Desk,
}

impl Sheet {
    pub(super) const ALL: [Self; 2] = [Self::Phone, Self::Desk];

    /// The name the style sheet knows it by.
    pub(super) fn class(self) -> &'static str {
        match self {
            Self::Phone => "phone",
            Self::Desk => "desk",
        }
    }

    /// Width in the drawing's own units.
    pub(super) fn width(self) -> u32 {
        match self {
            Self::Phone => 420,
            Self::Desk => 1000,
        }
    }

    /// How many entries of a legend stand beside each other.
    pub(super) fn columns(self) -> usize {
        match self {
            Self::Phone => 1,
            Self::Desk => 2,
        }
    }

    /// Room at the left for names of listed amounts; none where they stand above their marks.
    pub(super) fn names(self) -> Option<u32> {
        match self {
            Self::Phone => None,
            Self::Desk => Some(370),
        }
    }
}
