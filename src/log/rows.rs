//! Rows in blocks, a column at a time, in the log's own units.

/// Rows handed over at a time.
pub(crate) const BLOCK_ROWS: usize = 256;

/// Numbers of a row, and one place to spare so that an index needs no check.
pub(crate) const PLACES: usize = 8;

/// Place of the stamp among a row's numbers, after the six axes.
pub const TIME: usize = 6;

/// Some rows in file order, as columns.
#[derive(Debug, Clone)]
pub struct RowBlock {
    values: Box<[[f64; BLOCK_ROWS]; PLACES]>,
    unit: Box<[u32; BLOCK_ROWS]>,
    line: Box<[u64; BLOCK_ROWS]>,
    count: usize,
    open_line: u64,
}

impl Default for RowBlock {
    fn default() -> Self {
        Self {
            values: Box::new([[0.0; BLOCK_ROWS]; PLACES]),
            unit: Box::new([0; BLOCK_ROWS]),
            line: Box::new([0; BLOCK_ROWS]),
            count: 0,
            open_line: 1,
        }
    }
}

impl RowBlock {
    /// Number of rows.
    pub fn len(&self) -> usize {
        self.count
    }
    /// True if there are none.
    pub fn is_empty(&self) -> bool {
        self.count == 0
    }
    /// One column: specific force x, y, z, angular rate x, y, z, stamp ([`TIME`]).
    pub fn column(&self, place: usize) -> &[f64] {
        self.values
            .get(place)
            .and_then(|column| column.get(..self.count))
            .unwrap_or_default()
    }
    /// Index of each row's unit in [`super::ReadSummary::units`].
    pub fn units(&self) -> &[u32] {
        self.unit.get(..self.count).unwrap_or_default()
    }
    /// Line of each row, from 1.
    pub fn lines(&self) -> &[u64] {
        self.line.get(..self.count).unwrap_or_default()
    }

    /// Becomes the rows of one unit among those of another block.
    pub(crate) fn pick(&mut self, from: &Self, unit: u32) {
        self.clear();
        let of_unit = from
            .units()
            .iter()
            .enumerate()
            .filter(|(_, other)| **other == unit);
        for (index, _) in of_unit {
            for (into, column) in self.values.iter_mut().zip(from.values.iter()) {
                into[self.count % BLOCK_ROWS] = column[index % BLOCK_ROWS];
            }
            self.line[self.count % BLOCK_ROWS] = from.line[index % BLOCK_ROWS];
            self.unit[self.count % BLOCK_ROWS] = unit;
            self.count += 1;
        }
    }

    /// Becomes the rows of another block.
    pub(crate) fn copy(&mut self, from: &Self) {
        let rows = ..from.count;
        for (into, column) in self.values.iter_mut().zip(from.values.iter()) {
            into[rows].copy_from_slice(&column[rows]);
        }
        self.unit[rows].copy_from_slice(&from.unit[rows]);
        self.line[rows].copy_from_slice(&from.line[rows]);
        self.count = from.count;
    }

    /// All columns, with room for [`BLOCK_ROWS`]; rows from `len` on are open.
    #[cfg(target_arch = "x86_64")]
    pub(crate) fn open(&mut self) -> &mut [[f64; BLOCK_ROWS]; PLACES] {
        &mut self.values
    }

    /// Closes the first open rows, which stand on neighbouring lines and name no unit.
    #[cfg(target_arch = "x86_64")]
    pub(crate) fn close(&mut self, rows: usize) {
        let until = (self.count + rows).min(BLOCK_ROWS);
        self.unit[self.count..until].fill(0);
        for line in &mut self.line[self.count..until] {
            *line = self.open_line;
            self.open_line += 1;
        }
        self.count = until;
    }

    /// Numbers the stamps from one row on.
    pub(crate) fn count_from(&mut self, row: usize, ordinal: u64) {
        let stamps = self.values[TIME].get_mut(row..self.count);
        for (ahead, stamp) in stamps.unwrap_or_default().iter_mut().enumerate() {
            *stamp = (ordinal + ahead as u64) as f64; // far below 2^53
        }
    }

    pub(crate) fn is_full(&self) -> bool {
        self.count == BLOCK_ROWS
    }
    pub(crate) fn clear(&mut self) {
        self.count = 0;
    }
    /// The line that the open row stands on.
    pub(crate) fn line(&self) -> u64 {
        self.open_line
    }
    pub(crate) fn set_line(&mut self, line: u64) {
        self.open_line = line;
    }
    #[inline(always)]
    pub(crate) fn next_line(&mut self) {
        self.open_line += 1;
    }
    /// Sets a number of the open row. Blocks are not filled beyond their end: see `is_full`.
    #[inline(always)]
    pub(crate) fn set(&mut self, place: usize, value: f64) {
        self.values[place % PLACES][self.count % BLOCK_ROWS] = value;
    }
    /// Closes the open row.
    #[inline(always)]
    pub(crate) fn close_row(&mut self, unit: u32) {
        self.unit[self.count % BLOCK_ROWS] = unit;
        self.line[self.count % BLOCK_ROWS] = self.open_line;
        self.count += 1;
    }
}
