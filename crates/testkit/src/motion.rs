/// How the way of a stroke goes with its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Shape {
    /// The minimum-jerk form `10u^3 - 15u^4 + 6u^5`, that of unhindered human reaching (Flash and Hogan, "The
    /// coordination of arm movements", Journal of Neuroscience 5 (1985), equation 11; cited from memory).
    #[default]
    MinimumJerk,
    /// Its speed is a raised cosine.
    RaisedCosine,
    /// A quarter of its time at even acceleration, half at even speed, a quarter at even deceleration.
    Trapezoid,
    /// A minimum-jerk stroke whose speed goes up and down by a third five times, as of a wheel that sticks and slips.
    StickSlip,
}

impl Shape {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::MinimumJerk, Self::RaisedCosine, Self::Trapezoid, Self::StickSlip];

    /// The part of the way at the part `u` of the time, 0 to 1.
    fn way(self, u: f64) -> f64 {
        const TURN: f64 = std::f64::consts::TAU;
        let jerk = u * u * u * (10.0 + u * (6.0 * u - 15.0));
        match self {
            Self::MinimumJerk => jerk,
            Self::RaisedCosine => u - (TURN * u).sin() / TURN,
            Self::Trapezoid if u < 0.25 => 8.0 / 3.0 * u * u,
            Self::Trapezoid if u > 0.75 => 1.0 - 8.0 / 3.0 * (1.0 - u) * (1.0 - u),
            Self::Trapezoid => 4.0 / 3.0 * (u - 0.125),
            Self::StickSlip => jerk - (5.0 * TURN * jerk).sin() / (3.0 * 5.0 * TURN),
        }
    }

    /// The derivative of [`Self::way`].
    fn speed(self, u: f64) -> f64 {
        const TURN: f64 = std::f64::consts::TAU;
        let jerk = 30.0 * u * u * (1.0 - u) * (1.0 - u);
        match self {
            Self::MinimumJerk => jerk,
            Self::RaisedCosine => 1.0 - (TURN * u).cos(),
            Self::Trapezoid => 16.0 / 3.0 * u.min(1.0 - u).min(0.25),
            Self::StickSlip => jerk * (1.0 - (5.0 * TURN * Self::MinimumJerk.way(u)).cos() / 3.0),
        }
    }

    /// Peak speed as a multiple of the mean speed.
    #[must_use]
    pub const fn peak_speed(self) -> f64 {
        match self {
            Self::MinimumJerk => 1.875,
            Self::RaisedCosine => 2.0,
            Self::Trapezoid => 4.0 / 3.0,
            Self::StickSlip => 2.5,
        }
    }

    /// Peak acceleration as a multiple of length / duration^2.
    #[must_use]
    pub const fn peak_acceleration(self) -> f64 {
        match self {
            Self::MinimumJerk => 5.773_502_691_896_258,
            Self::RaisedCosine => std::f64::consts::TAU,
            Self::Trapezoid => 16.0 / 3.0,
            Self::StickSlip => 37.197_24,
        }
    }
}

/// One piece of a motion: a stroke, or a rest where `from` and `to` are the same.
#[derive(Debug, Clone, Copy)]
struct Segment {
    shape: Shape,
    begins: f64,
    lasts: f64,
    from: f64,
    to: f64,
}

impl Segment {
    fn position(&self, time: f64) -> f64 {
        if self.lasts <= 0.0 {
            return self.to;
        }
        let u = ((time - self.begins) / self.lasts).clamp(0.0, 1.0);
        self.from + (self.to - self.from) * self.shape.way(u)
    }

    fn speed(&self, time: f64) -> f64 {
        if self.lasts <= 0.0 {
            return 0.0;
        }
        let u = ((time - self.begins) / self.lasts).clamp(0.0, 1.0);
        (self.to - self.from) / self.lasts * self.shape.speed(u)
    }
}

/// Where a wheel is at every moment: position in turns over time in seconds, beginning and ending at rest.
#[derive(Debug, Clone)]
pub struct Motion {
    segments: Vec<Segment>,
    start: f64,
    ends: f64,
    position: f64,
}

/// Where a reader of a [`Motion`] is; reading forward in time costs next to nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cursor(usize);

impl Motion {
    /// At rest at `position` turns.
    #[must_use]
    pub const fn resting_at(position: f64) -> Self {
        Self { segments: Vec::new(), start: position, ends: 0.0, position }
    }

    /// Adds a rest of `seconds`.
    pub fn rest(&mut self, seconds: f64) {
        self.push(Shape::default(), seconds, self.position);
    }

    /// Adds a rest until `time` seconds, unless it is later than that already.
    pub fn rest_until(&mut self, time: f64) {
        self.rest((time - self.ends).max(0.0));
    }

    /// Adds a stroke over `turns`, signed, whose peak speed is `peak_speed` turns/s.
    pub fn stroke(&mut self, turns: f64, peak_speed: f64) {
        self.stroke_of(Shape::MinimumJerk, turns, peak_speed);
    }

    /// As [`Self::stroke`] for a stroke of any shape.
    pub fn stroke_of(&mut self, shape: Shape, turns: f64, peak_speed: f64) {
        if turns != 0.0 && peak_speed > 0.0 {
            self.push(shape, shape.peak_speed() * turns.abs() / peak_speed, self.position + turns);
        }
    }

    /// Adds a jump to a place `turns` away within no time at all: a knock.
    pub fn knock(&mut self, turns: f64) {
        self.push(Shape::default(), 0.0, self.position + turns);
    }

    fn push(&mut self, shape: Shape, lasts: f64, to: f64) {
        self.segments.push(Segment { shape, begins: self.ends, lasts, from: self.position, to });
        self.ends += lasts;
        self.position = to;
    }

    /// When the last segment ends, in seconds.
    #[must_use]
    pub const fn ends(&self) -> f64 {
        self.ends
    }

    /// Where the last segment ends, in turns.
    #[must_use]
    pub const fn rests_at(&self) -> f64 {
        self.position
    }

    /// The highest speed of all strokes in turns/s.
    #[must_use]
    pub fn peak_speed(&self) -> f64 {
        self.moving().map(|s| s.shape.peak_speed() * (s.to - s.from).abs() / s.lasts).fold(0.0, f64::max)
    }

    /// The highest acceleration of all strokes in turns/s^2. Knocks have none.
    #[must_use]
    pub fn peak_acceleration(&self) -> f64 {
        self.moving()
            .map(|s| s.shape.peak_acceleration() * (s.to - s.from).abs() / (s.lasts * s.lasts))
            .fold(0.0, f64::max)
    }

    /// When each stroke begins and ends, in seconds.
    pub fn strokes(&self) -> impl Iterator<Item = (f64, f64)> {
        self.moving().map(|s| (s.begins, s.begins + s.lasts))
    }

    fn moving(&self) -> impl Iterator<Item = &Segment> {
        self.segments.iter().filter(|s| s.lasts > 0.0 && s.from != s.to)
    }

    fn segment(&self, cursor: &mut Cursor, time: f64) -> Option<&Segment> {
        while self.segments.get(cursor.0 + 1).is_some_and(|next| next.begins <= time) {
            cursor.0 += 1;
        }
        self.segments.get(cursor.0).filter(|s| s.begins <= time)
    }

    /// Position in turns at `time` seconds, which must not run backwards for one cursor.
    pub fn position(&self, cursor: &mut Cursor, time: f64) -> f64 {
        self.segment(cursor, time).map_or(self.start, |s| s.position(time))
    }

    /// Speed in turns/s at `time` seconds, which must not run backwards for one cursor.
    pub fn speed(&self, cursor: &mut Cursor, time: f64) -> f64 {
        self.segment(cursor, time).map_or(0.0, |s| s.speed(time))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stroke_has_the_peaks_that_it_claims() {
        let mut motion = Motion::resting_at(0.25);
        motion.rest(0.1);
        motion.stroke(-0.5, 2.0);
        motion.rest(0.2);
        assert!((motion.ends() - (0.3 + 1.875 * 0.25)).abs() < 1e-12);
        let (mut cursor, step) = (Cursor::default(), 1e-4);
        let (mut fastest, mut hardest, mut before) = (0.0_f64, 0.0_f64, 0.0);
        let mut time = 0.0;
        while time < motion.ends() {
            let speed = motion.speed(&mut cursor, time);
            fastest = fastest.max(speed.abs());
            hardest = hardest.max((speed - before).abs() / step);
            before = speed;
            time += step;
        }
        assert!((fastest - motion.peak_speed()).abs() < 1e-3, "{fastest}");
        assert!((motion.peak_speed() - 2.0).abs() < 1e-9);
        assert!((hardest - motion.peak_acceleration()).abs() < 0.1, "{hardest}");
        assert!((motion.position(&mut cursor, 9.0) - -0.25).abs() < 1e-12);
    }

    #[test]
    fn speed_is_the_slope_of_position() {
        let mut motion = Motion::resting_at(0.0);
        motion.stroke(0.7, 3.0);
        motion.stroke(-0.2, 1.0);
        let (mut here, mut there) = (Cursor::default(), Cursor::default());
        for k in 1..500 {
            let time = f64::from(k) * 1e-3;
            let slope = (motion.position(&mut there, time + 1e-7) - motion.position(&mut here, time)) / 1e-7;
            assert!((slope - motion.speed(&mut here, time)).abs() < 1e-4, "{time}");
        }
    }
}
