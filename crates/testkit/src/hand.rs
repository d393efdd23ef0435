use crate::{Chance, Motion};

/// How a hand turns a wheel: strokes one after the other, each with a regrip or a rest after it.
#[derive(Debug, Clone, Copy)]
pub struct Hand {
    /// The fastest any stroke gets, in turns/s; a stroke draws its own peak between half of this and all of it.
    pub peak_speed: f64,
    /// The shortest and the longest stroke, in turns.
    pub stroke: (f64, f64),
    /// How many strokes out of a hundred go backward.
    pub backward_percent: u32,
    /// The shortest and the longest pause for a regrip, in seconds.
    pub regrip: (f64, f64),
    /// How many strokes out of a hundred are followed by the next one at once, without any pause.
    pub unbroken_percent: u32,
    /// How many strokes out of a hundred are followed by a rest of one second.
    pub rest_percent: u32,
    /// Strokes end on whole multiples of this many parts of a turn (detents), anywhere when `None`.
    pub detents: Option<u32>,
}

impl Hand {
    /// Wrist strokes of 0.15 to 0.7 turns with regrips of 20 to 300 ms, one in four backward: the hand of the
    /// first experiments, with strokes run together and rests added. Common practice, no source.
    #[must_use]
    pub const fn wrist(peak_speed: f64) -> Self {
        Self {
            peak_speed,
            stroke: (0.15, 0.7),
            backward_percent: 25,
            regrip: (0.02, 0.3),
            unbroken_percent: 10,
            rest_percent: 5,
            detents: None,
        }
    }

    /// Turns for at least `seconds`, from a rest of 0.2 s at `start` turns to a rest of 0.3 s.
    pub fn turns(&self, start: f64, seconds: f64, chance: &mut Chance) -> Motion {
        let mut motion = Motion::resting_at(self.on_detent(start));
        motion.rest(0.2);
        while motion.ends() < 0.2 + seconds {
            let backward = chance.below(100) < self.backward_percent;
            let length = chance.between(self.stroke.0, self.stroke.1);
            let to = self.on_detent(motion.rests_at() + if backward { -length } else { length });
            motion.stroke(to - motion.rests_at(), self.peak_speed * chance.between(0.5, 1.0));
            let draw = chance.below(100);
            if draw < self.rest_percent {
                motion.rest(1.0);
            } else if draw >= self.rest_percent + self.unbroken_percent {
                motion.rest(chance.between(self.regrip.0, self.regrip.1));
            }
        }
        motion.rest(0.3);
        motion
    }

    fn on_detent(&self, position: f64) -> f64 {
        self.detents.map_or(position, |n| (position * f64::from(n)).round() / f64::from(n))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Cursor;

    #[test]
    fn a_hand_keeps_to_its_speed_and_ends_on_detents() {
        for seed in 0..20 {
            let hand = Hand { detents: Some(24), ..Hand::wrist(2.0) };
            let motion = hand.turns(0.0, 10.0, &mut Chance::new(seed));
            assert!(motion.peak_speed() <= 2.0 && motion.peak_speed() > 1.5, "{}", motion.peak_speed());
            let place = motion.rests_at() * 24.0;
            assert!((place - place.round()).abs() < 1e-9, "{place}");
        }
    }

    #[test]
    fn a_hand_rests_regrips_and_reverses() {
        let motion = Hand::wrist(1.0).turns(0.0, 120.0, &mut Chance::new(1));
        let strokes: Vec<_> = motion.strokes().collect();
        let gaps: Vec<_> = strokes.windows(2).map(|w| w[1].0 - w[0].1).collect();
        assert!(gaps.iter().any(|&g| g < 1e-9), "no unbroken stroke");
        assert!(gaps.iter().any(|&g| (g - 1.0).abs() < 1e-9), "no rest");
        assert!(gaps.iter().any(|&g| g > 0.02 && g < 0.3), "no regrip");
        let mut cursor = Cursor::default();
        let signs: Vec<_> =
            strokes.iter().map(|s| motion.speed(&mut cursor, (s.0 + s.1) / 2.0) > 0.0).collect();
        assert!(signs.contains(&true) && signs.contains(&false), "never reversed");
    }
}
