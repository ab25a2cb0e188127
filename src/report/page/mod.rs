//! The page: one HTML file that needs nothing else, for screens, paper and screen readers.
//!
//! Everything it says stands in its text; its script only adds reading a point under the pointer and
//! walking along points by arrow keys. Numbers carry the place in the record's JSON they come from.

mod block;
mod block_days;
mod block_first;
mod block_load;
mod block_pictures;
mod block_timing;
mod draw;
mod figures;
mod files;
mod parts;
mod png;
mod practice;
mod serve_picture;
mod session;
mod session_data;
mod session_pictures;
mod session_serves;
mod style;
mod unit_tracks;
mod usual;

use std::collections::BTreeMap;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use draw::Picture;
use style::{file_style, page_style};

use crate::words::page::WORDS;

pub use block::block_page;
pub use files::{PlotFile, block_plots, sequence_plot, session_plots, session_strip};
pub use png::{PngDrawer, PngError};
pub use session::session_page;
pub use unit_tracks::{UnitTrack, unit_tracks};

const SCRIPT: &str = include_str!("page.js");
/// Nothing may be fetched from anywhere.
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:";

fn page(title: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(concat!("overarm ", env!("CARGO_PKG_VERSION")));
                title { (title) }
                link rel="icon" href="data:,";
                style { (PreEscaped(page_style())) }
            }
            body {
                a.skip href="#main" { (WORDS.skip) }
                (body)
                script { (PreEscaped(SCRIPT)) }
            }
        }
    }
    .into_string()
}

/// A picture with its title and how to read it.
fn figure_box(id: &str, picture: &Picture, title: &str, says: &str, caption: &str) -> Markup {
    html! {
        figure id=(id) {
            figcaption { strong { (title) } }
            (picture.inline(says))
            @if !caption.is_empty() { p.foot { (caption) } }
        }
    }
}

/// A table that may be wider than the screen.
fn scrolled(label: &str, table: &Markup) -> Markup {
    html! { div.scroll role="group" tabindex="0" aria-label=(label) { (table) } }
}

/// Who made it, from which files (as named here) and with which numbers.
fn provenance<'a>(
    tool: &str,
    schema: &str,
    inputs: impl Iterator<Item = (String, &'a String)>,
    params: &BTreeMap<String, f64>,
) -> Markup {
    html! {
        section aria-labelledby="s-provenance" {
            h2 #s-provenance { (WORDS.provenance_title) }
            p { (tool) "; " (schema) ". " (WORDS.json_says) }
            details {
                summary { (WORDS.inputs_and_params) }
                ul.hash { @for (file, digest) in inputs { li { (file) " " code { (digest) } } } }
                ul.cols { @for (name, value) in params { li { code { (name) } " " (value) } } }
            }
        }
    }
}

/// Marks that other pictures draw by name.
fn shared(groups: &[(&str, Option<&Picture>)]) -> Markup {
    html! {
        svg.defs width="0" height="0" aria-hidden="true" focusable="false" { defs {
            @for (id, picture) in groups {
                @if let Some(picture) = picture { g id=(id) { (picture.marks()) } }
            }
        } }
    }
}
