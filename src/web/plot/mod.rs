//! Plots as SVG: axes with units, lines and marks that differ in shape and not in colour alone.
//!
//! Drawn for white paper, once for the width of a phone and once for that of a desk, with a
//! `viewBox` so that they scale; the style sheet shows the one that fits. Without scripts or style
//! attributes, which the content policy forbids. Knows no calculation.

mod axis;
mod curves;
mod listed;
mod pareto;
mod rows;
mod sheet;

use std::sync::Arc;

use plotters::prelude::*;

use super::{fault::Fault, views::SafeHtml};
use sheet::Sheet;

pub(super) use axis::Axis;
pub(super) use curves::{Curves, Mark, Series};
pub(super) use pareto::Pareto;
pub(super) use rows::{Row, Rows};

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

/// The drawing on every sheet, with its title and description inside for those who cannot see it.
fn drawn<E: std::fmt::Display>(
    title: &str,
    description: &str,
    draw_on: impl Fn(&mut String, Sheet) -> Result<(), E>,
) -> Result<SafeHtml, Fault> {
    let mut both = String::new();
    for sheet in Sheet::ALL {
        let mut svg = String::new();
        draw_on(&mut svg, sheet).map_err(failed)?;
        let inside = format!(
            " class=\"{}\"><title>{}</title><desc>{}</desc>",
            sheet.class(),
            escaped(title),
            escaped(description)
        );
        both.push_str(&svg.trim().replacen('>', &inside, 1));
    }
    Ok(SafeHtml(both))
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
