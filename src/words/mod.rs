//! Every sentence that a page, a table or a record says: one place, ready for another language.
//!
//! A stage decides by types and numbers and hands them to a function here; no stage looks at a
//! sentence to decide anything. What other programs rely on are the codes of a record (`moved`,
//! `in order`, `no log`): they stay as they are in every language, [`codes::shown`] gives their words.
//!
//! | file | words of |
//! |---|---|
//! | `page` | headings, captions, column heads of the pages |
//! | `made` | cautions, stop texts, how numbers are made |
//! | `codes` | codes of records as a page shows them |
//! | `timing` | the athlete's usual, change, trend, comparability |
//! | `load` | plan, days, weeks, effort, ratios |
//! | `look_at` | the short list of what to look at |
//! | `serve` | why a swing was taken or refused, how its chain ran |
//! | `units` | what was noticed in a unit's log or in how units sit together |
//! | `terminal` | sentences of the pages in the terminal |
//! | `rows` | rows of a log that were left out |
//! | `why` | why something was not measured |
//! | `tables` | columns of tables and what they mean |
//! | `number` | forms of numbers |
//!
//! Not here: command-line help and what an error enum says of itself (each beside its type), sources
//! of tuning numbers (beside the number), and text written into files for people to edit (profiles).

pub mod codes;
pub mod load;
pub mod look_at;
pub mod made;
pub mod number;
pub mod page;
pub mod rows;
pub mod serve;
pub mod tables;
pub mod terminal;
pub mod timing;
pub mod units;
pub mod why;
