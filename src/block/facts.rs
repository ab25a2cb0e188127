//! What a person said about a block, as data.

use std::collections::BTreeSet;

use jiff::civil::Date;

use super::plan::Plan;
use super::record::UnreadSession;
use crate::words::made::pain_entered;

/// Which sessions are the athlete's usual.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum BaselineChoice {
    /// Nothing said: all sessions before the return, if a return is stated.
    #[default]
    Unstated,
    /// All sessions up to and including this day.
    Until(Date),
    /// Named sessions.
    Sessions(Vec<String>),
}

/// Which days without a log were rest.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RestDays {
    /// These days.
    pub days: BTreeSet<Date>,
    /// Every day without a log.
    pub every_day_without_log: bool,
}

impl RestDays {
    /// Whether a day without a log was rest.
    pub fn holds(&self, date: Date) -> bool {
        self.every_day_without_log || self.days.contains(&date)
    }
}

/// What block.toml and the folder say.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BlockFacts {
    /// Athlete id.
    pub athlete: String,
    /// First day back.
    pub returned: Option<Date>,
    /// The athlete's usual.
    pub baseline: BaselineChoice,
    /// Rest days.
    pub rest: RestDays,
    /// The plan.
    pub plan: Option<Plan>,
    /// Sessions that could not be read.
    pub unread: Vec<UnreadSession>,
}

impl BlockFacts {
    /// Unread sessions in which pain was entered.
    pub fn painful_unread(&self) -> impl Iterator<Item = &UnreadSession> {
        let painful = |one: &&UnreadSession| pain_entered(one.pain.as_deref());
        self.unread.iter().filter(painful)
    }
}
