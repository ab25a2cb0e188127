//! The days of a block along a picture: where each stands, Mondays by name, the return.

use jiff::civil::Date;

use super::draw::{Anchor, Picture, Scale};
use crate::block::BlockRecord;
use crate::words::page::WORDS;

const LEFT_PX: f64 = 44.0;
const RIGHT_GAP_PX: f64 = 8.0;
/// Width of a day's name, as in `04-21`.
const NAME_PX: f64 = 36.0;

/// The days of a block along a picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Days {
    first: Date,
    pub(super) axis: Scale,
}

impl Days {
    pub(super) fn of(record: &BlockRecord, width_px: f64) -> Option<Self> {
        let first: Date = record.from.as_ref()?.parse().ok()?;
        let last: Date = record.to.as_ref()?.parse().ok()?;
        let span_d = f64::from(first.until(last).ok()?.get_days());
        Some(Self {
            first,
            axis: Scale {
                low: -0.6,
                high: span_d.max(6.0) + 0.6,
                low_px: LEFT_PX,
                high_px: width_px - RIGHT_GAP_PX,
            },
        })
    }

    pub(super) fn number(&self, date: &str) -> Option<f64> {
        let day: Date = date.parse().ok()?;
        Some(f64::from(self.first.until(day).ok()?.get_days()))
    }

    pub(super) fn px(&self, date: &str) -> Option<f64> {
        let number = self.number(date)?;
        Some(self.axis.inside_px(number))
    }

    pub(super) fn day_px(&self) -> f64 {
        self.axis.px(1.0) - self.axis.px(0.0)
    }

    /// Mondays, or every second or fourth of them where the picture is narrow.
    pub(super) fn axis_on(&self, picture: &mut Picture, foot: f64) {
        let (left, right) = (self.axis.low_px, self.axis.high_px);
        picture.line("ax", (left, foot), (right, foot));
        let year = format!("{}-", self.first.year());
        picture.text("m", Anchor::End, (left - 1.0, foot + 15.0), &year);
        let name = |picture: &mut Picture, x: f64, day: Date| {
            let words = format!("{:02}-{:02}", day.month(), day.day());
            picture.text("m", Anchor::Start, (x, foot + 15.0), &words);
        };
        let day_after = |days: i32| self.first.checked_add(jiff::Span::new().days(days)).ok();
        if self.day_px() > NAME_PX + 6.0 {
            for (k, day) in (0..).map_while(|k| Some((k, day_after(k)?))) {
                let x = self.axis.px(f64::from(k) - 0.5);
                if x > right - NAME_PX {
                    return;
                }
                picture.line("ax", (x, foot), (x, foot + 4.0));
                name(picture, x + 2.0, day);
            }
        }
        let week_px = 7.0 * self.day_px();
        let every = [1, 2, 4, 8]
            .into_iter()
            .find(|n| week_px * f64::from(*n) > 44.0)
            .unwrap_or(16);
        let to_monday = -i32::from(self.first.weekday().to_monday_zero_offset());
        let mut named = false;
        for week in 0..200 {
            let offset = to_monday + 7 * week;
            let x = self.axis.px(f64::from(offset) - 0.5);
            if x > right {
                break;
            }
            let Some(day) = day_after(offset) else {
                break;
            };
            if x < left {
                continue;
            }
            picture.line("ax", (x, foot), (x, foot + 4.0));
            if week % every == 0 && x <= right - NAME_PX {
                name(picture, x, day);
                named = true;
            }
        }
        if !named {
            name(picture, left, self.first);
        }
    }

    pub(super) fn returned_on(
        &self,
        picture: &mut Picture,
        record: &BlockRecord,
        top: f64,
        foot: f64,
    ) {
        let Some(x) = record.returned.as_ref().and_then(|date| self.px(date)) else {
            return;
        };
        let x = x - 0.5 * self.day_px();
        picture.line("im", (x, top), (x, foot));
        let far_right = x > self.axis.high_px - 60.0;
        let (anchor, gap) = if far_right {
            (Anchor::End, -4.0)
        } else {
            (Anchor::Start, 4.0)
        };
        picture.text("", anchor, (x + gap, top + 9.0), WORDS.back);
    }
}
