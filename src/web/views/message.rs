//! The page that says what went wrong.

use askama::Template;

use super::Link;
use super::page::Page;

/// An error, said plainly.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "message.html")]
pub struct MessagePage {
    /// The frame.
    pub page: Page,
    /// The HTTP status, such as 404.
    pub status: u16,
    /// What went wrong, in a few words.
    pub headline: String,
    /// What it means and what to do, each a sentence.
    pub sentences: Vec<String>,
    /// By which number the log knows this request; empty if it has none.
    pub request_id: String,
    /// Ways on.
    pub links: Vec<Link>,
}
