//! A value over time, kept as its extremes in a fixed number of columns, so that an hour takes no more room
//! than a second and no peak is hidden.

use tallywheel_units::Timestamp;

/// What one column of a plot shows, in degrees above the low stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// The position at the column's begin.
    pub first: f64,
    /// The lowest position within it.
    pub low: f64,
    /// The highest position within it.
    pub high: f64,
    /// The position at its end.
    pub last: f64,
    /// The lowest that the truth may have been.
    pub band_low: f64,
    /// The highest that the truth may have been.
    pub band_high: f64,
    /// Whether a loss falls into it.
    pub loss: bool,
}

/// One moment's position and how far the truth may lie below and above, in degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// The position in degrees above the low stop.
    pub position: f64,
    /// The lowest position that the truth may have, in degrees above the low stop.
    pub band_low: f64,
    /// The highest position that the truth may have, in degrees above the low stop.
    pub band_high: f64,
}

impl Column {
    fn of(moment: Moment) -> Self {
        let Moment { position, band_low, band_high } = moment;
        Self {
            first: position,
            low: position,
            high: position,
            last: position,
            band_low,
            band_high,
            loss: false,
        }
    }

    /// This column and the one after it as one.
    fn join(&mut self, next: &Self) {
        self.low = self.low.min(next.low);
        self.high = self.high.max(next.high);
        self.last = next.last;
        self.band_low = self.band_low.min(next.band_low);
        self.band_high = self.band_high.max(next.band_high);
        self.loss |= next.loss;
    }
}

/// Columns being filled, in the order of time.
#[derive(Debug, Clone)]
pub struct Columns {
    begin: Timestamp,
    /// Nanoseconds from the first column's begin to the last one's end, at least 1.
    span: u64,
    count: usize,
    columns: Vec<Column>,
    now: Moment,
}

impl Columns {
    /// `count` columns from `begin` to `end`; `start` is what holds at the begin.
    #[must_use]
    pub fn new(begin: Timestamp, end: Timestamp, count: usize, start: Moment) -> Self {
        let span = end.nanos().saturating_sub(begin.nanos()).max(1);
        let count = count.max(1);
        let mut columns = Vec::with_capacity(count);
        columns.push(Column::of(start));
        Self { begin, span, count, columns, now: start }
    }

    /// From `at` on `moment` holds. Earlier than the moment before counts as then.
    pub fn set(&mut self, at: Timestamp, moment: Moment) {
        self.fill(self.place(at));
        self.now = moment;
        if let Some(column) = self.columns.last_mut() {
            column.join(&Column::of(moment));
        }
    }

    /// A loss was found at `at`.
    pub fn lose(&mut self, at: Timestamp) {
        self.fill(self.place(at));
        if let Some(column) = self.columns.last_mut() {
            column.loss = true;
        }
    }

    /// All columns; what held last holds to the end.
    #[must_use]
    pub fn finish(mut self) -> Vec<Column> {
        self.fill(self.count - 1);
        self.columns
    }

    fn place(&self, at: Timestamp) -> usize {
        let since = u128::from(at.nanos().saturating_sub(self.begin.nanos()));
        let count = u128::try_from(self.count).unwrap_or(1);
        let place = since * count / u128::from(self.span);
        usize::try_from(place).unwrap_or(usize::MAX).min(self.count - 1)
    }

    fn fill(&mut self, place: usize) {
        while self.columns.len() <= place {
            self.columns.push(Column::of(self.now));
        }
    }
}

/// The same with every `factor` columns as one.
#[must_use]
pub fn coarser(columns: &[Column], factor: usize) -> Vec<Column> {
    let chunks = columns.chunks(factor.max(1));
    chunks
        .filter_map(|chunk| {
            let (first, rest) = chunk.split_first()?;
            let mut joined = *first;
            rest.iter().for_each(|next| joined.join(next));
            Some(joined)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(position: f64) -> Moment {
        Moment { position, band_low: position - 1.0, band_high: position + 2.0 }
    }

    fn filled(events: &[(u64, f64)], count: usize) -> Vec<Column> {
        let end = Timestamp::from_micros(1_000_000);
        let mut columns = Columns::new(Timestamp::START, end, count, moment(5.0));
        for (micros, position) in events {
            columns.set(Timestamp::from_micros(*micros), moment(*position));
        }
        columns.finish()
    }

    #[test]
    fn a_peak_of_one_report_is_not_hidden() {
        let mut events: Vec<_> = (0..10_000).map(|n| (n * 100, 5.0)).collect();
        events[5_555].1 = 99.0;
        let columns = filled(&events, 10);
        assert_eq!(columns.len(), 10);
        for (place, column) in columns.iter().enumerate() {
            let high = if place == 5 { 99.0 } else { 5.0 };
            assert_eq!(
                (column.high, column.band_high, column.low),
                (high, high + 2.0, 5.0),
                "column {place}"
            );
        }
    }

    #[test]
    fn what_holds_is_carried_to_the_end() {
        let columns = filled(&[(250_000, 7.0)], 4);
        let ends: Vec<_> = columns.iter().map(|c| (c.first, c.last)).collect();
        assert_eq!(ends, [(5.0, 5.0), (5.0, 7.0), (7.0, 7.0), (7.0, 7.0)]);
    }

    #[test]
    fn joined_columns_keep_extremes_and_losses() {
        let mut columns = filled(&[(100_000, 1.0), (700_000, 9.0), (800_000, 4.0)], 8);
        columns[5].loss = true;
        let joined = coarser(&columns, 4);
        let seen: Vec<_> = joined.iter().map(|c| (c.first, c.low, c.high, c.last, c.loss)).collect();
        assert_eq!(seen, [(5.0, 1.0, 5.0, 1.0, false), (1.0, 1.0, 9.0, 4.0, true)]);
    }

    #[test]
    fn a_recording_without_length_has_its_columns_too() {
        let mut columns = Columns::new(Timestamp::START, Timestamp::START, 3, moment(1.0));
        columns.set(Timestamp::START, moment(2.0));
        columns.lose(Timestamp::from_micros(9));
        assert_eq!(columns.finish().len(), 3);
    }
}
