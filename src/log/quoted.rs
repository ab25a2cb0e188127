//! Lines with quotes cut into fields by the core of the `csv` crate, kept from line to line: to build its
//! tables anew for every line would take a hundred times as long as the line itself.

/// Cuts one line after the other.
pub(crate) struct Cutter {
    core: csv_core::Reader,
    text: Vec<u8>,
    ends: Vec<usize>,
    fields: usize,
}

impl Cutter {
    pub fn new(delimiter: u8) -> Self {
        Self {
            core: csv_core::ReaderBuilder::new().delimiter(delimiter).build(),
            text: Vec::new(),
            ends: Vec::new(),
            fields: 0,
        }
    }

    /// Cuts a line without its end.
    pub fn cut(&mut self, line: &[u8]) {
        self.core.reset();
        // without its quotes a field is no longer than with them, and between two stands a delimiter
        self.text.resize(self.text.len().max(line.len() + 1), 0);
        self.ends.resize(self.ends.len().max(line.len() + 1), 0);
        let (_, _, written, fields) = self.core.read_record(line, &mut self.text, &mut self.ends);
        // no further input closes the last field
        let (text, ends) = (
            self.text.get_mut(written..).unwrap_or_default(),
            self.ends.get_mut(fields..).unwrap_or_default(),
        );
        self.fields = fields + self.core.read_record(&[], text, ends).3;
    }

    /// The fields of the line cut last.
    pub fn iter(&self) -> impl Iterator<Item = &[u8]> {
        let ends = self.ends.get(..self.fields).unwrap_or_default();
        let starts = std::iter::once(&0).chain(ends);
        let spans = starts.zip(ends);
        spans.map(|(&start, &end)| self.text.get(start..end).unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::Cutter;

    fn by_the_crate(line: &[u8]) -> Vec<Vec<u8>> {
        let mut record = csv::ByteRecord::new();
        csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(line)
            .read_byte_record(&mut record)
            .expect("memory");
        record.iter().map(<[u8]>::to_vec).collect()
    }

    proptest! {
        /// One cutter for all lines gives what the `csv` crate gives for each alone.
        #[test]
        fn lines_are_cut_as_the_csv_crate_cuts_them(
            lines in prop::collection::vec("[0-9,\" .;a-]{1,40}", 1..8)
        ) {
            let mut cutter = Cutter::new(b',');
            for line in &lines {
                cutter.cut(line.as_bytes());
                let cut: Vec<Vec<u8>> = cutter.iter().map(<[u8]>::to_vec).collect();
                prop_assert_eq!(cut, by_the_crate(line.as_bytes()), "{}", line);
            }
        }
    }
}
