//! Markdown of the catalogue as HTML that can do no harm.

use ammonia::Builder;
use pulldown_cmark::{Options, Parser, html};

use crate::web::views::SafeHtml;

/// Renders and sanitises.
pub(super) fn render(markdown: &str) -> SafeHtml {
    let parser = Parser::new_ext(markdown, Options::ENABLE_TABLES);
    let mut unsafe_html = String::new();
    html::push_html(&mut unsafe_html, parser);
    SafeHtml(
        Builder::default()
            .rm_tags(["img"])
            .clean(&unsafe_html)
            .to_string(),
    )
}

#[cfg(test)]
mod tests {
    use super::render;

    #[test]
    fn keeps_lists_and_drops_scripts_and_pictures() {
        let html =
            render("1. Shut it\n\n<script>alert(1)</script>\n\n![x](http://a/b.png) *now*").0;
        assert!(html.contains("<li>Shut it</li>"));
        assert!(html.contains("<em>now</em>"));
        assert!(!html.contains("script") && !html.contains("<img"));
    }

    #[test]
    fn drops_links_that_run_code() {
        assert!(!render("[x](javascript:alert(1))").0.contains("javascript"));
    }
}
