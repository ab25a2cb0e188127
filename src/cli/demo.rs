//! `overarm demo`.

use std::io::IsTerminal as _;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::{CliError, Common, Outcome};
use crate::frames::{Hand, Site};
use crate::simulate::story::story;
use crate::simulate::{
    Activity, BlockPlan, Gesture, Layout, Scenario, SessionPlan, Sync, Variant, WriteError,
    write_block_with,
};

/// Arguments of `overarm demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// New or empty folder for the block.
    dir: PathBuf,
    /// Same seed, same bytes.
    #[arg(long, value_name = "N", default_value_t = 7)]
    seed: u64,
    /// Sessions, two days apart.
    #[arg(long, value_name = "N", default_value_t = 4)]
    sessions: u32,
    /// Length of each session, min.
    #[arg(long, value_name = "MIN", default_value_t = 1.3)]
    minutes: f64,
    /// Worn units: any of hip, trunk, arm, wrist, with commas.
    #[arg(long, value_name = "SITES", value_delimiter = ',', default_value = "hip,trunk,arm,wrist", value_parser = site)]
    units: Vec<Site>,
    /// Sample rate, Hz.
    #[arg(long, value_name = "HZ", default_value_t = 250.0)]
    rate: f64,
    /// What is practised.
    #[arg(long, value_enum, default_value_t = ActivityArg::Basket)]
    activity: ActivityArg,
    /// Log layout: the name of its sensor profile.
    #[arg(long, value_name = "NAME", default_value = "g-dps-seconds", value_parser = layout)]
    layout: Layout,
    /// When the clocks are tied by a gesture; `shared`: one clock, no gesture.
    #[arg(long, value_enum, default_value_t = SyncArg::Both)]
    sync: SyncArg,
    /// Which gesture.
    #[arg(long, value_enum, default_value_t = GestureArg::Taps)]
    gesture: GestureArg,
    /// Order of the peaks; by default another one in each session.
    #[arg(long, value_enum)]
    variant: Option<VariantArg>,
    /// Hitting hand.
    #[arg(long, value_enum, default_value_t = HandArg::Right)]
    hand: HandArg,
    /// Ideal sensors: no soft tissue, impact vibration, noise, errors or rounding.
    #[arg(long)]
    ideal: bool,
    /// Eight weeks instead: usual practice, a lay-off, a return with later trunk timing, a plan.
    #[arg(long, conflicts_with_all = ["sessions", "random", "activity", "variant", "minutes"])]
    story: bool,
    /// Draw every knob widely for each session (rate, units, clocks, mounting, activity).
    #[arg(long)]
    random: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ActivityArg {
    Basket,
    Match,
    Mixed,
    None,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum SyncArg {
    Both,
    Start,
    End,
    None,
    Shared,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum GestureArg {
    Taps,
    Jump,
    Heels,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum VariantArg {
    InOrder,
    TrunkFirst,
    Together,
    ArmEarly,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum HandArg {
    Right,
    Left,
}

fn site(name: &str) -> Result<Site, String> {
    Site::from_name(name.trim()).ok_or_else(|| "want hip, trunk, arm or wrist".to_owned())
}

fn layout(name: &str) -> Result<Layout, String> {
    Layout::from_name(name).ok_or_else(|| {
        let names = Layout::ALL.map(Layout::profile);
        format!("want one of {}", names.join(", "))
    })
}

/// Runs it.
pub fn run(args: &DemoArgs, common: &Common) -> Result<Outcome, CliError> {
    check(args)?;
    let plan = if args.story {
        story("athlete-07", &scenario(args, 0))
    } else {
        block(args)?
    };
    let all = plan.sessions.len();
    let progress = !common.quiet && std::io::stderr().is_terminal();
    let mut written = |done: usize| {
        if progress {
            let end = if done < all { "" } else { "\n" };
            super::say(format_args!("\r{done} of {all} sessions{end}"));
        }
    };
    let sessions = write_block_with(&args.dir, &plan, &mut written).map_err(told)?;
    if !common.quiet {
        let serves: usize = sessions
            .iter()
            .flat_map(|session| &session.truth.swings)
            .filter(|swing| swing.kind == "serve")
            .count();
        super::say(format_args!(
            "wrote {} simulated sessions with {serves} serves to {}\n",
            sessions.len(),
            args.dir.display()
        ));
    }
    Ok(Outcome::Done)
}

fn check(args: &DemoArgs) -> Result<(), CliError> {
    let within = |name: &str, value: f64, low: f64, high: f64| {
        if (low..=high).contains(&value) {
            Ok(())
        } else {
            Err(CliError::Usage(format!(
                "--{name} is {value}, want {low} to {high}"
            )))
        }
    };
    within("minutes", args.minutes, 0.8, 600.0)?;
    within("rate", args.rate, 50.0, 4000.0)?;
    within("sessions", f64::from(args.sessions), 1.0, 200.0)?;
    let distinct = Site::ALL
        .iter()
        .filter(|site| args.units.contains(site))
        .count();
    if distinct != args.units.len() {
        return Err(CliError::Usage(
            "--units names a site twice, want each at most once".to_owned(),
        ));
    }
    Ok(())
}

fn told(error: WriteError) -> CliError {
    match error {
        WriteError::Io { path, source } => CliError::Unwritable {
            what: path.display().to_string(),
            source,
        },
        other => CliError::Usage(other.to_string()),
    }
}

fn block(args: &DemoArgs) -> Result<BlockPlan, CliError> {
    let sessions = (0..args.sessions)
        .map(|number| {
            Ok(SessionPlan {
                name: day(number)?,
                scenario: scenario(args, number),
                rpe: None,
                minutes: None,
                notes: String::new(),
            })
        })
        .collect::<Result<_, CliError>>()?;
    Ok(BlockPlan {
        athlete: "athlete-07".to_owned(),
        returned: None,
        baseline_until: None,
        plan_toml: None,
        rest_days: Vec::new(),
        sessions,
    })
}

/// Every second day from an invented first one.
fn day(number: u32) -> Result<String, CliError> {
    let first = jiff::civil::date(2031, 3, 4);
    first
        .checked_add(jiff::Span::new().days(2 * i64::from(number)))
        .map(|date| date.to_string())
        .map_err(|error| CliError::Usage(error.to_string()))
}

fn scenario(args: &DemoArgs, number: u32) -> Scenario {
    let seed = args.seed.wrapping_mul(1000).wrapping_add(u64::from(number));
    if args.random {
        return Scenario {
            minutes: args.minutes,
            layout: args.layout,
            ..Scenario::random(seed)
        };
    }
    let base = if args.ideal {
        Scenario::ideal(seed)
    } else {
        Scenario::of_seed(seed)
    };
    let variant = match args.variant {
        Some(VariantArg::InOrder) => Variant::InOrder,
        Some(VariantArg::TrunkFirst) => Variant::TrunkFirst,
        Some(VariantArg::Together) => Variant::Together,
        Some(VariantArg::ArmEarly) => Variant::ArmEarly,
        None => Variant::ALL[number as usize % Variant::ALL.len()], // u32 fits in usize
    };
    Scenario {
        athlete_seed: args.seed,
        hand: match args.hand {
            HandArg::Right => Hand::Right,
            HandArg::Left => Hand::Left,
        },
        sites: args.units.clone(),
        rate_hz: args.rate,
        minutes: args.minutes,
        activity: match args.activity {
            ActivityArg::Basket => Activity::Basket,
            ActivityArg::Match => Activity::Match,
            ActivityArg::Mixed => Activity::Mixed,
            ActivityArg::None => Activity::None,
        },
        variant: Some(variant),
        sync: match args.sync {
            SyncArg::Both => Sync::Both,
            SyncArg::Start => Sync::Start,
            SyncArg::End => Sync::End,
            SyncArg::None => Sync::None,
            SyncArg::Shared => Sync::Shared,
        },
        gesture: match args.gesture {
            GestureArg::Taps => Gesture::Taps,
            GestureArg::Jump => Gesture::Jump,
            GestureArg::Heels => Gesture::Heels,
        },
        layout: args.layout,
        ..base
    }
}
