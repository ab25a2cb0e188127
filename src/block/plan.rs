//! The plan of a block: steps, and which day asks for what. Someone else's decision, read as data.

use jiff::civil::Date;
use serde::Deserialize;

/// Why a plan cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// Not the format.
    #[error("{0}")]
    Format(String),
    /// A day names a step that is not there.
    #[error("{date}: step {step}, but the plan has steps 1 to {steps}")]
    NoSuchStep {
        /// Day.
        date: Date,
        /// Step named.
        step: u32,
        /// Steps there are.
        steps: usize,
    },
    /// A day stands there twice.
    #[error("{date} stands there twice")]
    SameDay {
        /// Day.
        date: Date,
    },
    /// A day asks for rest and serves, for serves twice, or for nothing.
    #[error("{date}: want one of step, serves or rest = true")]
    Unclear {
        /// Day.
        date: Date,
    },
    /// Not a share of full effort.
    #[error("{at}: effort_percent is {found}, want 0 to 100")]
    Effort {
        /// Step or day.
        at: String,
        /// Value found.
        found: f64,
    },
    /// Not a date.
    #[error("date {found}: want year-month-day, as in 2031-04-15")]
    Date {
        /// What stood there.
        found: String,
    },
}

/// What a day or step asks.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Asked {
    /// Serves; `None` where the step leaves it open.
    pub serves: Option<u32>,
    /// Effort, percent.
    pub effort_percent: Option<f64>,
    /// Step, from 1.
    pub step: Option<u32>,
    /// True where no serves are allowed.
    pub rest: bool,
}

/// One step of a plan.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Serves; leave out where the step leaves it open.
    pub serves: Option<u32>,
    /// Effort, percent.
    pub effort_percent: Option<f64>,
    /// Ground strokes; not counted by this tool.
    pub strokes: Option<u32>,
    /// Their effort, percent.
    pub stroke_effort_percent: Option<f64>,
    /// Games that the strokes are spread over.
    pub games: Option<u32>,
    /// Words.
    pub about: Option<String>,
}

impl Step {
    /// Serves and ground strokes together, where both are said.
    pub fn total_strokes(&self) -> Option<u32> {
        Some(self.serves? + self.strokes?)
    }
}

/// One dated day of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanDay {
    /// Day.
    pub date: Date,
    /// What it asks.
    pub asked: Asked,
    /// Words.
    pub about: Option<String>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Name.
    pub name: String,
    /// Where it comes from.
    pub source: String,
    /// Who approved it for this athlete.
    pub approved_by: Option<String>,
    /// True for an example that nobody has approved.
    pub example: bool,
    /// Rest days asked between days with serves.
    pub rest_days_between: Option<u32>,
    /// Steps in order.
    pub steps: Vec<Step>,
    /// Days, in order of date.
    pub days: Vec<PlanDay>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PlanFile {
    name: String,
    source: String,
    approved_by: Option<String>,
    #[serde(default)]
    example: bool,
    rest_days_between: Option<u32>,
    #[serde(default)]
    steps: Vec<Step>,
    #[serde(default)]
    days: Vec<DayFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DayFile {
    date: toml::Value,
    step: Option<u32>,
    serves: Option<u32>,
    effort_percent: Option<f64>,
    #[serde(default)]
    rest: bool,
    about: Option<String>,
}

impl Plan {
    /// Reads the text of a plan file.
    ///
    /// Every key is shown in `sample-logs/plans/interval-21-steps.toml`.
    pub fn parse(text: &str) -> Result<Self, PlanError> {
        let file: PlanFile =
            toml::from_str(text).map_err(|e| PlanError::Format(e.to_string().trim().to_owned()))?;
        for (place, step) in file.steps.iter().enumerate() {
            check_effort(step.effort_percent, || format!("step {}", place + 1))?;
        }
        let mut days = file
            .days
            .into_iter()
            .map(|day| plan_day(day, &file.steps))
            .collect::<Result<Vec<_>, _>>()?;
        days.sort_by_key(|day| day.date);
        if let Some(twice) = days.windows(2).find(|pair| pair[0].date == pair[1].date) {
            // windows(2) gives slices of two
            return Err(PlanError::SameDay {
                date: twice[0].date,
            });
        }
        Ok(Self {
            name: file.name,
            source: file.source,
            approved_by: file.approved_by,
            example: file.example,
            rest_days_between: file.rest_days_between,
            steps: file.steps,
            days,
        })
    }

    /// What a day asks; `None` where the plan does not speak of it.
    pub fn asked_on(&self, date: Date) -> Option<&Asked> {
        self.days
            .binary_search_by_key(&date, |day| day.date)
            .ok()
            .and_then(|place| self.days.get(place))
            .map(|day| &day.asked)
    }
}

fn plan_day(day: DayFile, steps: &[Step]) -> Result<PlanDay, PlanError> {
    let date = date_of(&day.date)?;
    check_effort(day.effort_percent, || date.to_string())?;
    let step = match day.step {
        None => None,
        Some(number) => Some(
            usize::try_from(number)
                .ok()
                .and_then(|n| steps.get(n.checked_sub(1)?))
                .ok_or(PlanError::NoSuchStep {
                    date,
                    step: number,
                    steps: steps.len(),
                })?,
        ),
    };
    let asks_serves = day.serves.is_some() || step.is_some();
    let asks_twice = day.serves.is_some() && step.is_some_and(|step| step.serves.is_some());
    if asks_serves == day.rest || asks_twice {
        return Err(PlanError::Unclear { date });
    }
    Ok(PlanDay {
        date,
        asked: Asked {
            serves: day.serves.or_else(|| step.and_then(|s| s.serves)),
            effort_percent: day
                .effort_percent
                .or_else(|| step.and_then(|s| s.effort_percent)),
            step: day.step,
            rest: day.rest,
        },
        about: day.about,
    })
}

fn date_of(value: &toml::Value) -> Result<Date, PlanError> {
    let text = match value {
        toml::Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    text.parse().map_err(|_| PlanError::Date {
        found: text.clone(),
    })
}

fn check_effort(percent: Option<f64>, at: impl Fn() -> String) -> Result<(), PlanError> {
    match percent {
        Some(found) if !(0.0..=100.0).contains(&found) => {
            Err(PlanError::Effort { at: at(), found })
        }
        _ => Ok(()),
    }
}
