//! What happens when in a practice.

use super::athlete::Athlete;
use super::daily;
use super::random::Random;
use super::scenario::{Activity, Gesture, Scenario, Sync};
use super::script::{Performance, Script};
use super::serve::{self, ServeOrder};
use super::shape::Shape;
use super::stroke::{self, Stroke};
use super::truth::GestureTruth;
use crate::frames::Hand;
use nalgebra::Vector3;

/// Time from the first record until the athlete stands with all units on, when they are handled, s.
pub const HANDLING_S: f64 = 16.0;

/// Lays out a whole practice.
pub fn perform(scenario: &Scenario) -> Performance {
    let random = Random::new(scenario.seed, "practice");
    let mut planner = Planner {
        script: Script::new(Athlete::of(scenario), random, scenario),
        scenario,
        serves: 0,
    };
    planner.open();
    let end_s = scenario.minutes * 60.0 - if scenario.handling { HANDLING_S } else { 3.0 };
    while planner.script.now_s < end_s && !planner.served_out() {
        match scenario.activity {
            Activity::Basket => planner.basket(),
            Activity::Match => planner.point(),
            Activity::Mixed => planner.mixed(),
            Activity::None => planner.filler(),
        }
    }
    let off_s = planner.close();
    let until_s = if scenario.handling {
        off_s + HANDLING_S
    } else {
        off_s
    };
    planner.script.finish(scenario.hand == Hand::Left, until_s)
}

struct Planner<'a> {
    script: Script,
    scenario: &'a Scenario,
    serves: u32,
}

impl Planner<'_> {
    fn open(&mut self) {
        if self.scenario.handling {
            self.script.now_s = HANDLING_S;
        }
        let still_s = self.script.random.range(2.0, 4.0);
        self.script.now_s += still_s;
        if matches!(self.scenario.sync, Sync::Both | Sync::Start) {
            self.gesture();
        }
    }

    /// Gesture if asked for, then still; gives the time from which units may be taken off.
    fn close(&mut self) -> f64 {
        daily::face_net(&mut self.script);
        let ease = super::pose::at_ease();
        self.script.settle(&ease, 1.0);
        if matches!(self.scenario.sync, Sync::Both | Sync::End) {
            self.gesture();
        }
        self.script.settle(&ease, 0.8);
        self.script.now_s += self.script.random.range(2.0, 3.0);
        self.script.now_s
    }

    /// Gestures done with the body; taps are done on the stacked units.
    fn gesture(&mut self) {
        let script = &mut self.script;
        match self.scenario.gesture {
            Gesture::Taps if self.scenario.handling => {}
            Gesture::Taps | Gesture::Jump => {
                script.now_s += 0.5;
                let time_s = daily::small_jump(script, 0.28, 0.3);
                script.gestures.push(GestureTruth {
                    kind: "jump".to_owned(),
                    time_s,
                });
                script.now_s += 1.0;
            }
            Gesture::Heels => {
                for _ in 0..3 {
                    let up_s = script.now_s + 0.5;
                    let height = Vector3::new(0.0, 0.0, 0.05);
                    let from_s = script.now_s;
                    script.shift(height, from_s, up_s, Shape::STEP);
                    let down_s = up_s + 0.14;
                    script.shift(-height, up_s, down_s, Shape::Bell { a: 4, b: 2 });
                    script.ground_blow(down_s - 0.015, 35.0, 0.035);
                    script.gestures.push(GestureTruth {
                        kind: "heel drop".to_owned(),
                        time_s: down_s - 0.015,
                    });
                    script.now_s = down_s + script.random.range(0.5, 0.8);
                }
                script.now_s += 0.8;
            }
        }
    }

    fn effort(&mut self) -> f64 {
        let [low, high] = self.scenario.effort;
        self.script.random.range(low, high)
    }

    fn order(&mut self, contact: bool, number: u8, ritual: bool) -> ServeOrder {
        let effort = self.effort() * if number == 2 { 0.88 } else { 1.0 };
        let effort = if contact {
            effort
        } else {
            effort * self.script.random.range(0.65, 1.0)
        };
        let spins = if number == 2 {
            [("flat", 0.1), ("slice", 0.4), ("kick", 0.5)]
        } else {
            [("flat", 0.6), ("slice", 0.3), ("kick", 0.1)]
        };
        ServeOrder {
            effort: effort.max(0.35),
            contact,
            spin: self.script.random.weighted(&spins, "flat"),
            number,
            lag_spread_s: self.scenario.lag_spread_ms * 1e-3,
            ritual,
        }
    }

    /// One serve, or a dry swing in its place; nothing once the limit is reached.
    fn serve(&mut self, number: u8, ritual: bool) -> bool {
        if self
            .scenario
            .serve_limit
            .is_some_and(|most| self.serves >= most)
        {
            daily::stand(&mut self.script, 2.0);
            return false;
        }
        if self.script.random.chance(self.scenario.dry_share) {
            let order = self.order(false, number, ritual && self.serves.is_multiple_of(2));
            serve::serve(&mut self.script, &order);
        }
        let order = self.order(true, number, ritual);
        serve::serve(&mut self.script, &order);
        self.serves += 1;
        true
    }

    fn basket(&mut self) {
        daily::face_net(&mut self.script);
        for _ in 0..self.script.random.whole(4, 12) {
            if self.script.random.chance(0.04) {
                serve::aborted_toss(&mut self.script, false);
            }
            let number = if self.script.random.chance(0.3) { 2 } else { 1 };
            if !self.serve(number, false) {
                return;
            }
            if self.over() {
                return;
            }
            if self.script.random.chance(0.3) {
                daily::pick_up(&mut self.script);
            }
        }
        let length_s = self.script.random.range(4.0, 9.0);
        daily::walk(&mut self.script, length_s);
        daily::pick_up(&mut self.script);
    }

    fn point(&mut self) {
        daily::face_net(&mut self.script);
        if self.script.random.chance(0.06) {
            serve::aborted_toss(&mut self.script, true);
        }
        let serving = self.script.random.chance(0.6);
        if serving {
            self.serve(1, true);
            if self.script.random.chance(0.4) {
                daily::stand(&mut self.script, 1.5);
                self.serve(2, true);
            }
        }
        if self.script.random.chance(0.75) {
            self.rally();
        }
        let length_s = self.script.random.range(3.0, 8.0);
        daily::walk(&mut self.script, length_s);
        self.between();
    }

    fn mixed(&mut self) {
        daily::face_net(&mut self.script);
        match self.script.random.whole(0, 9) {
            0..=4 => {
                for _ in 0..self.script.random.whole(2, 5) {
                    let number = if self.script.random.chance(0.35) {
                        2
                    } else {
                        1
                    };
                    let ritual = self.script.random.chance(0.5);
                    if !self.serve(number, ritual) || self.over() {
                        return;
                    }
                }
            }
            5 | 6 => self.rally(),
            _ => self.filler(),
        }
        self.between();
    }

    /// Anything but a serve.
    fn filler(&mut self) {
        match self.script.random.whole(0, 7) {
            0 | 1 => self.rally(),
            2 => {
                for _ in 0..self.script.random.whole(1, 3) {
                    let effort = self.effort();
                    serve::smash(&mut self.script, effort * 0.9);
                }
            }
            3 => {
                daily::face_net(&mut self.script);
                serve::aborted_toss(&mut self.script, true);
            }
            4 => daily::run(&mut self.script),
            5 => {
                let length_s = self.script.random.range(3.0, 7.0);
                daily::walk(&mut self.script, length_s);
            }
            _ => self.between(),
        }
        if self.script.random.chance(0.3) {
            self.between();
        }
    }

    fn rally(&mut self) {
        let from_s = self.script.now_s;
        for _ in 0..self.script.random.whole(1, 6) {
            let effort = self.effort();
            match self.script.random.whole(0, 9) {
                0..=3 => stroke::stroke(&mut self.script, Stroke::Forehand, effort),
                4..=6 => stroke::stroke(&mut self.script, Stroke::Backhand, effort),
                7 | 8 => stroke::stroke(&mut self.script, Stroke::Volley, effort),
                _ => serve::smash(&mut self.script, effort * 0.9),
            }
            if self.over() {
                break;
            }
        }
        self.script.note("rally", from_s);
    }

    fn between(&mut self) {
        let script = &mut self.script;
        match script.random.whole(0, 11) {
            0 => daily::wave(script),
            1 => daily::towel(script),
            2 => daily::racket_bounces(script),
            3 => daily::racket_drop(script),
            4 => {
                let length_s = script.random.range(3.0, 8.0);
                daily::sit(script, length_s);
            }
            5 => serve::throw(script),
            6 => stroke::twirl(script),
            7 | 8 => daily::pick_up(script),
            9 => {
                let length_s = script.random.range(3.0, 6.0);
                daily::walk(script, length_s);
            }
            _ => {
                let length_s = script.random.range(1.5, 4.0);
                daily::stand(script, length_s);
            }
        }
    }

    /// A basket practice ends with its last ball.
    fn served_out(&self) -> bool {
        self.scenario.activity == Activity::Basket
            && self
                .scenario
                .serve_limit
                .is_some_and(|most| self.serves >= most)
    }

    fn over(&self) -> bool {
        self.script.now_s > self.scenario.minutes * 60.0 - HANDLING_S
    }
}
