//! Rows of the table, each with its goal and whether it was reached.

/// What has been printed.
#[derive(Default)]
pub struct Rows {
    goals: usize,
    missed: Vec<String>,
}

impl Rows {
    /// A row whose `value` is to be at most `goal`.
    pub fn below(&mut self, what: &str, value: f64, goal: f64, said: &str, goal_said: &str) {
        self.row(what, said, goal_said, Some(value <= goal));
    }

    /// A row without a goal.
    pub fn told(&mut self, what: &str, said: &str) {
        self.row(what, said, "none set", None);
    }

    /// A row.
    pub fn row(&mut self, what: &str, said: &str, goal: &str, reached: Option<bool>) {
        let verdict = match reached {
            None => "",
            Some(true) => "reached",
            Some(false) => "**missed**",
        };
        println!("| {what} | {said} | {goal} | {verdict} |");
        self.goals += usize::from(reached.is_some());
        if reached == Some(false) {
            self.missed.push(what.to_string());
        }
    }

    /// How many goals were reached.
    pub fn summary(&self) -> String {
        let reached = self.goals - self.missed.len();
        let missed = match &self.missed[..] {
            [] => String::new(),
            missed => format!("; missed: {}", missed.join("; ")),
        };
        format!("{reached} of {} goals reached{missed}", self.goals)
    }
}

/// The value below which `percent` of all lie (nearest rank).
pub fn percentile(values: &[f64], percent: usize) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (sorted.len() * percent).div_ceil(100).max(1);
    sorted.get(rank - 1).copied().unwrap_or(f64::NAN)
}
