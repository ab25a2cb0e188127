//! Terminal tables: columns aligned, no frame, a rule under the header.

use comfy_table::{Cell, CellAlignment, ContentArrangement, LineStyle, Table, presets::NOTHING};

/// How a column is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// Rows under a header, as text with a newline at the end of each line.
pub fn table(columns: &[(&str, Align)], rows: &[Vec<String>]) -> String {
    let mut table = Table::new();
    table.load_style(NOTHING.header_separator(LineStyle::none().fill('-').junction(' ')));
    table.set_content_arrangement(ContentArrangement::Disabled);
    let alignment = |align: Align| match align {
        Align::Left => CellAlignment::Left,
        Align::Right => CellAlignment::Right,
    };
    table.set_header(
        columns
            .iter()
            .map(|(name, align)| Cell::new(name).set_alignment(alignment(*align))),
    );
    for row in rows {
        let cells = row.iter().zip(columns);
        table.add_row(
            cells.map(|(text, (_, align))| Cell::new(text).set_alignment(alignment(*align))),
        );
    }
    table
        .lines()
        .map(|line| line.trim_end().to_owned() + "\n")
        .collect()
}
