//! Which events may be the opening and the closing of one break.
//!
//! A break begins with one step and ends with another the other way, of like size, and in between the
//! contact rests. Sound is full of steps but seldom has two of its largest so far apart with nothing as
//! large between them. What no pair holds is looked at no further.

use crate::events::Event;

/// A break with room to spare, in seconds.
const BREAK_S: std::ops::RangeInclusive<f64> = 0.010..=0.190;
/// Sizes of opening and closing differ by less than this factor.
const UNLIKE: f32 = 3.5;
/// Chatter and ringing after an opening, and the first departure before a closing, lie within these.
const AFTER_OPENING_S: f64 = 0.006;
const BEFORE_CLOSING_S: f64 = 0.002;
/// Steps of this share of the larger of the two are as large as they.
const AS_LARGE: f32 = 0.7;
/// So many as large may lie between: clicks, speech.
const BETWEEN: usize = 2;

/// Marks the events that are part of a pair.
pub(crate) fn paired(events: &[Event], tick_rate_hz: f64) -> Vec<bool> {
    let mut marks = vec![false; events.len()];
    for kind in 0..2 {
        let own: Vec<usize> = (0..events.len())
            .filter(|&i| events[i].size[kind] != 0.0)
            .collect();
        let sized: Vec<(u64, f32)> = own
            .iter()
            .map(|&i| (events[i].at, events[i].size[kind]))
            .collect();
        for (opening, closing) in pairs(&sized, tick_rate_hz) {
            marks[own[opening]] = true;
            marks[own[closing]] = true;
        }
    }
    marks
}

fn pairs(events: &[(u64, f32)], tick_rate_hz: f64) -> Vec<(usize, usize)> {
    let ticks = |s: f64| (s * tick_rate_hz) as u64;
    let (least, most) = (ticks(*BREAK_S.start()), ticks(*BREAK_S.end()));
    let (after, before) = (ticks(AFTER_OPENING_S), ticks(BEFORE_CLOSING_S));
    let mut out = Vec::new();
    for (i, &(opened, size)) in events.iter().enumerate() {
        // Sizes of what lies between, from the end of the opening's own ringing on.
        let mut larger = 0;
        for (j, &(closed, other)) in events.iter().enumerate().skip(i + 1) {
            if closed - opened > most || larger > BETWEEN {
                break;
            }
            let ratio = -other / size;
            let alike = (1.0 / UNLIKE..UNLIKE).contains(&ratio);
            if closed - opened >= least && alike {
                let limit = AS_LARGE * size.abs().max(other.abs());
                let between = events[i + 1..j]
                    .iter()
                    .filter(|(at, s)| {
                        *at >= opened + after && *at + before <= closed && s.abs() > limit
                    })
                    .count();
                if between <= BETWEEN {
                    out.push((i, j));
                }
            }
            // What is so large that no partner could be larger counts against all that follow.
            larger += usize::from(
                closed >= opened + after && other.abs() > AS_LARGE * UNLIKE * size.abs(),
            );
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn events(list: &[(u64, f32)]) -> Vec<Event> {
        list.iter()
            .map(|&(at, size)| Event {
                at,
                size: [size, 0.0],
            })
            .collect()
    }

    #[test]
    fn a_break_is_a_pair_and_chatter_does_not_hide_it() {
        // At 2 kHz: 60 ms of break, chatter of 1.5 ms.
        let marks = paired(
            &events(&[(100, -1.0), (220, 0.9), (222, -0.8), (223, 0.8)]),
            2000.0,
        );
        assert_eq!(marks[..2], [true, true]);
    }

    #[test]
    fn steps_among_many_as_large_are_no_pair() {
        // A voice of 125 Hz: a step every 8 ms, up and down.
        let voice: Vec<(u64, f32)> = (0..60)
            .map(|i| (16 * i, if i % 2 == 0 { 1.0 } else { -0.9 }))
            .collect();
        let marks = paired(&events(&voice), 2000.0);
        // Neighbours within the first three periods pass; nothing like the whole break of a dial does.
        let apart = pairs(&voice, 2000.0);
        assert!(apart.iter().all(|(i, j)| j - i <= 4), "{apart:?}");
        assert!(!marks.is_empty());
    }
}
