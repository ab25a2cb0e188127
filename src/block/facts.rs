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

/// What block.toml and the folder say.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BlockFacts {
    /// Athlete id.
    pub athlete: String,
    /// First day back.
    pub returned: Option<Date>,
    /// The athlete's usual.
    pub baseline: BaselineChoice,
    /// Days without a log that were rest.
    pub rest: BTreeSet<Date>,
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
