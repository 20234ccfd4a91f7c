//! Plots as SVG: axes with units, lines and marks that differ in shape and not in colour alone.
//!
//! Drawn for white paper at the width of a phone, with a `viewBox` so that they scale; without
//! scripts or style attributes, which the content policy forbids. Knows no calculation.

mod axis;
mod curves;
mod listed;
mod pareto;
mod rows;

use std::sync::Arc;

use plotters::prelude::*;

use super::{fault::Fault, views::SafeHtml};

pub(super) use axis::Axis;
pub(super) use curves::{Curves, Mark, Series};
pub(super) use pareto::Pareto;
pub(super) use rows::{Row, Rows};

/// Width of every drawing, in its own units.
const WIDTH: u32 = 420;

/// Size of letters; the backend makes them smaller by a quarter.
const LETTERS: i32 = 20;

const FONT: &str = "sans-serif";
const INK: RGBColor = RGBColor(0x22, 0x26, 0x2b);
const GRID: RGBColor = RGBColor(0xd6, 0xda, 0xde);

/// Colours of series, dark enough on white and light enough once light and dark change places.
const COLOURS: [RGBColor; 4] = [
    RGBColor(0x1b, 0x4f, 0x8a),
    RGBColor(0xb3, 0x3a, 0x1e),
    RGBColor(0x2d, 0x6a, 0x31),
    RGBColor(0x6b, 0x4c, 0x9a),
];

fn colour(place: usize) -> RGBColor {
    COLOURS[place % COLOURS.len()]
}

fn letters() -> TextStyle<'static> {
    (FONT, LETTERS).into_font().color(&INK)
}

/// The drawing with its title and description inside, for those who cannot see it.
fn finished(svg: &str, title: &str, description: &str) -> SafeHtml {
    let inside = format!(
        "><title>{}</title><desc>{}</desc>",
        escaped(title),
        escaped(description)
    );
    SafeHtml(svg.trim().replacen('>', &inside, 1))
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

fn failed(error: impl std::fmt::Display) -> Fault {
    Fault::Internal(Arc::new(anyhow::anyhow!("a plot failed: {error}")))
}

#[cfg(test)]
mod tests;
