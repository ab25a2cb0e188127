//! Speed curves as bytes: nothing a picture could show is lost, and broken bytes give nothing.

use overarm::session::{ServeCurves, SpeedCurve, curves_from_bytes, curves_to_bytes};
use proptest::prelude::*;

fn curve(points: Vec<(f32, f32, bool)>) -> SpeedCurve {
    SpeedCurve {
        time_s: points.iter().map(|p| p.0).collect(),
        speed_rad_s: points.iter().map(|p| p.1).collect(),
        clipped: points.iter().map(|p| p.2).collect(),
    }
}

fn any_curve() -> impl Strategy<Value = Option<SpeedCurve>> {
    let point = (-1.5_f32..1.5, 0.0_f32..150.0, any::<bool>());
    prop::option::of(prop::collection::vec(point, 1..60).prop_map(curve))
}

fn any_serves() -> impl Strategy<Value = Vec<ServeCurves>> {
    let one = (any::<u32>(), any_curve(), any_curve(), any_curve());
    prop::collection::vec(
        one.prop_map(|(number, hip, arm, wrist)| ServeCurves {
            number,
            sites: [hip, None, arm, wrist],
        }),
        0..5,
    )
}

proptest! {
    /// Closed form: rounding to a step is off by half of it.
    #[test]
    fn bytes_hold_what_a_picture_shows(serves in any_serves()) {
        let bytes = curves_to_bytes(&serves);
        let back = curves_from_bytes(&bytes).expect("whole bytes");
        prop_assert_eq!(serves.len(), back.len());
        for (was, is) in serves.iter().zip(&back) {
            prop_assert_eq!(was.number, is.number);
            for (was, is) in was.sites.iter().zip(&is.sites) {
                let (Some(was), Some(is)) = (was, is) else {
                    prop_assert!(was.is_none() && is.is_none());
                    continue;
                };
                prop_assert_eq!(&was.clipped, &is.clipped);
                prop_assert_eq!(was.time_s.len(), is.time_s.len());
                for (a, b) in was.time_s.iter().zip(&is.time_s) {
                    prop_assert!((a - b).abs() < 2.6e-5, "{} s became {} s", a, b);
                }
                for (a, b) in was.speed_rad_s.iter().zip(&is.speed_rad_s) {
                    // 0.0015 rad/s is under a tenth of a deg/s
                    prop_assert!((a - b).abs() < 0.00155, "{} rad/s became {} rad/s", a, b);
                }
            }
        }
        // what was kept once is kept the same for ever
        prop_assert_eq!(curves_to_bytes(&back), bytes);
    }

    #[test]
    fn broken_bytes_give_nothing_and_never_panic(serves in any_serves(), cut in any::<prop::sample::Index>(), noise in any::<Vec<u8>>()) {
        let bytes = curves_to_bytes(&serves);
        prop_assert!(curves_from_bytes(&bytes[..cut.index(bytes.len())]).is_none());
        let longer = [bytes.as_slice(), &[0]].concat();
        prop_assert!(curves_from_bytes(&longer).is_none());
        let _ = curves_from_bytes(&noise);
        let _ = curves_from_bytes(&[b"oac1".as_slice(), &noise].concat());
    }
}
