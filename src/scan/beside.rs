//! Finder patterns that no view of the picture shows, looked for beside one that is known.
//!
//! What turns away from the camera, or is blurred, shows its rings only to somebody who knows where and how it lies; both follow from
//! the frame of a neighbour, but for how far the label bends between them.

use image::GrayImage;

use super::frame::{Fit, Frame, Way, fitted};
use super::picture::Point;

/// From where on the next is looked for, in how many steps of which size, and how far aside for each module; modules.
const NEAREST: f32 = 10.5;
const FAR_STEPS: u8 = 30;
const RAY_STEP: f32 = 0.8;
const ASIDE: f32 = 0.2;
/// By how much the next may be stretched along and aside.
const LEANS: [(f32, f32); 5] = [(1.0, 1.0), (0.75, 1.0), (1.0, 0.75), (0.55, 1.0), (1.0, 0.55)];
/// How clear a glance must be beside one at the finder itself: the next may lie in shadow.
const GLANCE: f32 = 0.2;
/// The least that a place must agree, and how many places are looked at each way.
const WORTH_LOOKING: f32 = 0.4;
const LOOKS: usize = 4;

/// Looks along both sides of a finder pattern, both ways, for those that may stand there.
pub(super) fn beside(grey: &GrayImage, frame: &Frame) -> Vec<Frame> {
    let mut found = Vec::new();
    let worth_a_look = GLANCE * Fit { grey, at: frame.at, axes: frame.axes }.glance();
    for Way { along, aside } in frame.ways() {
        let at = |t: f32, s: f32| Point {
            x: frame.at.x + t * along.x + s * aside.x,
            y: frame.at.y + t * along.y + s * aside.y,
        };
        let mut guesses: Vec<(f32, Fit<'_>)> = Vec::new();
        for far in 0..FAR_STEPS {
            let t = NEAREST + RAY_STEP * f32::from(far);
            let reach = (ASIDE * t / RAY_STEP).ceil();
            let mut s = -reach * RAY_STEP;
            while s <= reach * RAY_STEP {
                for (wide, high) in LEANS {
                    let axes = [
                        Point { x: along.x * wide, y: along.y * wide },
                        Point { x: aside.x * high, y: aside.y * high },
                    ];
                    let fit = Fit { grey, at: at(t, s), axes };
                    if fit.glance() < worth_a_look {
                        continue;
                    }
                    let agreed = fit.roughly();
                    if agreed >= WORTH_LOOKING {
                        guesses.push((agreed, fit));
                    }
                }
                s += RAY_STEP;
            }
        }
        guesses.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut tried: Vec<Point> = Vec::new();
        for (_, fit) in guesses {
            if tried.len() >= LOOKS {
                break;
            }
            if tried.iter().all(|old| old.distance(fit.at) > 3.0 * frame.module()) {
                tried.push(fit.at);
                found.extend(fitted(fit, frame.module()));
            }
        }
    }
    found
}
