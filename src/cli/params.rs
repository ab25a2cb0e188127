//! `overarm params`.

use std::io::Write;

use clap::Args;

use super::{CliError, Common, Format, Outcome, answer};
use crate::block::BlockParams;
use crate::params::{ParamRow, StageParams};
use crate::report::{Align, table};
use crate::session::Params;

/// Arguments of `overarm params`.
#[derive(Debug, Args)]
pub struct ParamsArgs {
    /// Only this stage.
    stage: Option<String>,
}

/// Prints every tuning number with unit, default, range, meaning and source.
pub fn run(args: &ParamsArgs, common: &Common) -> Result<Outcome, CliError> {
    let mut rows = Params::default().rows();
    rows.extend(BlockParams::default().rows());
    if let Some(stage) = &args.stage {
        let mut known: Vec<&str> = rows.iter().map(|row| row.stage).collect();
        known.dedup();
        if !known.contains(&stage.as_str()) {
            let list = known.join(", ");
            return Err(CliError::Usage(format!(
                "no stage `{stage}`; the stages are {list}"
            )));
        }
        rows.retain(|row| row.stage == stage);
    }
    answer(|out| match common.format {
        Format::Text => write!(out, "{}", text(&rows)),
        Format::Json => writeln!(out, "{}", serde_json::to_string_pretty(&rows)?),
        Format::Csv => csv_rows(&rows, out),
    })?;
    Ok(Outcome::Done)
}

fn text(rows: &[ParamRow]) -> String {
    let columns = [
        ("number", Align::Left),
        ("default", Align::Right),
        ("unit", Align::Left),
        ("range", Align::Left),
    ];
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            vec![
                format!("{}.{}", row.stage, row.name),
                row.default.to_string(),
                row.unit.to_owned(),
                format!("{} to {}", row.range.0, row.range.1),
            ]
        })
        .collect();
    let mut page = table(&columns, &cells);
    page.push('\n');
    for row in rows {
        page += &format!(
            "{}.{}\n    {}\n    Source: {}.\n",
            row.stage, row.name, row.meaning, row.source
        );
    }
    page
}

fn csv_rows(rows: &[ParamRow], out: &mut dyn Write) -> std::io::Result<()> {
    let mut writer = csv::Writer::from_writer(out);
    writer.write_record([
        "stage", "name", "default", "unit", "low", "high", "meaning", "source",
    ])?;
    for row in rows {
        writer.write_record([
            row.stage,
            row.name,
            &row.default.to_string(),
            row.unit,
            &row.range.0.to_string(),
            &row.range.1.to_string(),
            &row.meaning,
            row.source,
        ])?;
    }
    writer.flush()
}
