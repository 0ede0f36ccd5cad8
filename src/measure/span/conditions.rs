//! The conditions of the day, as they stand beside every distance of a wire: what the crew entered, and what is not known.
//!
//! A wire's sag hangs on its temperature, which sun, wind and load move (IEEE guideline on determining conductor temperature during
//! the measurement of sag; from memory). Nothing is computed from them.

pub use crate::records::shot::Conditions;

/// The conditions of the rows of a measurement in one line.
pub fn told(rows: &[&Conditions]) -> String {
    let one = |name: &str, unit: &str, of: fn(&Conditions) -> &Option<String>| {
        range(rows.iter().filter_map(|row| of(row).as_deref()), unit).map(|range| format!("{name} {range}"))
    };
    let pair = |known: [(Option<String>, &str); 2], unknown: &str, told: &mut Vec<String>| {
        let missing: Vec<&str> = known.iter().filter(|(told, _)| told.is_none()).map(|(_, name)| *name).collect();
        let missing = (!missing.is_empty()).then(|| format!("{} {unknown}", missing.join(" and ")));
        told.extend(known.into_iter().filter_map(|(told, _)| told).chain(missing));
    };
    let mut parts = Vec::new();
    let air = one("air temperature", " °C", |row| &row.air_temperature_c);
    let wind = one("wind", " m/s", |row| &row.wind_m_s);
    pair([(air, "air temperature"), (wind, "wind")], "not entered", &mut parts);
    let conductor = one("conductor temperature", " °C", |row| &row.conductor_temperature_c);
    let load = one("loading", " A", |row| &row.load_a);
    pair([(conductor, "conductor temperature"), (load, "loading")], "not known", &mut parts);
    parts.extend(range(rows.iter().filter_map(|row| row.words.as_deref()), ""));
    parts.join("; ")
}

/// The least and the greatest of numbers, or what else was written, each once.
fn range<'r>(cells: impl Iterator<Item = &'r str>, unit: &str) -> Option<String> {
    let mut seen: Vec<&str> = Vec::new();
    for cell in cells {
        if !seen.contains(&cell) {
            seen.push(cell);
        }
    }
    let number = |cell: &&str| cell.replace(',', ".").parse::<f64>().ok();
    let mut numbers =
        seen.iter().map(|cell| number(cell).map(|number| (number, *cell))).collect::<Option<Vec<_>>>().unwrap_or_default();
    numbers.sort_by(|a, b| a.0.total_cmp(&b.0));
    match (numbers.as_slice(), seen.as_slice()) {
        (_, []) => None,
        ([(_, one)], _) => Some(format!("{one}{unit}")),
        ([(_, least), .., (_, greatest)], _) => Some(format!("{least} to {greatest}{unit}")),
        ([], words) => Some(words.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some(text: &str) -> Option<String> {
        Some(text.to_owned())
    }

    #[test]
    fn what_is_not_entered_is_said() {
        let none = Conditions::default();
        let want = "air temperature and wind not entered; conductor temperature and loading not known";
        assert_eq!((told(&[]).as_str(), told(&[&none, &none]).as_str()), (want, want));
        let air = Conditions { air_temperature_c: some("-4"), words: some("rime on the wires"), ..none };
        assert_eq!(
            told(&[&air]),
            "air temperature -4 °C; wind not entered; conductor temperature and loading not known; rime on the wires"
        );
    }

    #[test]
    fn several_readings_are_a_range() {
        let row =
            |air: &str, load: &str| Conditions { air_temperature_c: some(air), load_a: some(load), ..Conditions::default() };
        let rows = [row("9.5", "120"), row("11", "120"), row("-2", "about 130")];
        assert_eq!(
            told(&rows.iter().collect::<Vec<_>>()),
            "air temperature -2 to 11 °C; wind not entered; loading 120, about 130; conductor temperature not known"
        );
    }
}
