//! Reading a job file: TOML, unknown keys refused with the nearest known one, values checked, file
//! patterns resolved. Every message names the line and says what to write.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::fault::{LeapSecondsFile, TextFault};
use super::files::{FilesError, resolve};
use super::valid::{self, KeyFault};
use super::{Job, JobError, settings};
use crate::disk;
use crate::units::gps_time::LeapSeconds;

/// No job that a person writes is longer, in bytes.
const MOST_JOB_BYTES: u64 = 16 << 20;

/// Reads and checks a job file; its paths become relative to its folder. `-` stands for standard input, and the folder
/// is then the one that the program runs in.
///
/// # Errors
/// See [`JobError`].
pub fn load(path: &Path) -> Result<Job, JobError> {
    if path.as_os_str() == disk::STANDARD_INPUT {
        let wrong = |fault: TextFault| JobError::Wrong { place: "standard input".into(), problem: Box::new(fault.into()) };
        let bytes = disk::read_standard_input(MOST_JOB_BYTES).map_err(|error| wrong(TextFault::Unreadable(error)))?;
        let text = String::from_utf8(bytes).map_err(|_| wrong(TextFault::NotUtf8))?;
        return parse(&text, "standard input", Path::new("."));
    }
    let text = disk::read_text(path).map_err(|source| JobError::Read { path: path.to_owned(), source })?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    parse(&text, &path.display().to_string(), folder)
}

/// Reads and checks a job from its text. `name` is what messages call it; `folder` is where its
/// relative paths begin.
///
/// # Errors
/// See [`JobError`].
pub fn parse(text: &str, name: &str, folder: &Path) -> Result<Job, JobError> {
    let (mut job, document): (Job, _) = settings::read(text, name, "the job")?;
    job.settle(folder).map_err(|(path, problem)| document.wrong(document.offset_of(&path), problem))?;
    Ok(job)
}

impl Job {
    /// Reads and checks a job file: [`load`].
    ///
    /// # Errors
    /// See [`JobError`].
    pub fn from_path(path: impl AsRef<Path>) -> Result<Job, JobError> {
        load(path.as_ref())
    }

    /// Checks a job as it was written and finds its files; its paths become relative to `folder`. A fault names its key.
    pub(super) fn settle(&mut self, folder: &Path) -> Result<(), KeyFault> {
        let at = |path: &[&'static str]| {
            let path = path.to_vec();
            move |problem: FilesError| (path, problem.into())
        };
        valid::check(self)?;
        let out = folder.join(self.out.take().unwrap_or_else(|| PathBuf::from(format!("{}-layers", self.name))));
        if self.has_no_bases() {
            self.shots.log.has_no_bases = true;
            self.shots.per_file.values_mut().for_each(|log| log.has_no_bases = true);
        } else {
            self.bases.resolve(folder, Some(&out)).map_err(at(&["bases", "files"]))?;
        }
        self.shots.resolve(folder, Some(&out)).map_err(at(&["shots", "files"]))?;
        if let Some(list) = &mut self.bases.occupations.list {
            list.resolved = resolve(&list.files, folder, Some(&out)).map_err(at(&["bases", "occupations", "list", "files"]))?;
        }
        if let Some(fit) = self.local.as_mut().and_then(|local| local.fit.as_mut()) {
            fit.known.resolve(folder, Some(&out)).map_err(at(&["local", "fit", "known", "files"]))?;
            fit.known.crs.get_or_insert_with(|| fit.crs.clone());
        }
        if let Some(known) = &mut self.known {
            known.resolve(folder, Some(&out)).map_err(at(&["known", "files"]))?;
        }
        let named = self.heights.geoid_grid.iter_mut().chain(&mut self.leap_seconds).chain(&mut self.catalogue);
        for path in named.chain(&mut self.report.background) {
            *path = folder.join(&path);
        }
        if let Some(path) = &self.heights.geoid_grid {
            disk::check(path)
                .map_err(|source| FilesError::Unreadable { path: path.clone(), source })
                .map_err(at(&["heights", "geoid_grid"]))?;
        }
        if self.crs.trim().is_empty() {
            self.crs = self.bases.crs.clone().unwrap_or_default();
        }
        self.read_leap_seconds().map_err(|problem| (vec!["leap_seconds"], problem.into()))?;
        self.out = Some(out);
        Ok(())
    }

    /// Gives each log the steps of GPS time.
    fn read_leap_seconds(&mut self) -> Result<(), LeapSecondsFile> {
        let steps = match &self.leap_seconds {
            None => LeapSeconds::builtin(),
            Some(path) => {
                let text = disk::read_text(path).map_err(|source| FilesError::Unreadable { path: path.clone(), source })?;
                let steps = LeapSeconds::parse(&text);
                Arc::new(steps.map_err(|problem| LeapSecondsFile::Table { path: path.clone(), problem })?)
            }
        };
        let lists = self.bases.occupations.list.iter_mut().map(|list| &mut list.log);
        let known = self.known.iter_mut().flat_map(|known| std::iter::once(&mut known.log).chain(known.per_file.values_mut()));
        let fit = self.local.iter_mut().filter_map(|local| local.fit.as_mut()).map(|fit| &mut fit.known.log);
        let single = self.bases.per_file.values_mut().chain(self.shots.per_file.values_mut());
        for log in [&mut self.bases.log, &mut self.shots.log].into_iter().chain(lists).chain(known).chain(fit).chain(single) {
            log.leap_seconds = Some(steps.clone());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problem(text: &str) -> String {
        parse(text, "job.toml", Path::new("/nowhere")).unwrap_err().to_string()
    }

    const HEAD: &str = "name = \"a\"\ncrs = \"EPSG:32630\"\n";

    #[test]
    fn unknown_keys_name_the_line_and_the_nearest_key() {
        let text =
            format!("{HEAD}[bases]\nfiles = [\"b.csv\"]\ncrs = \"EPSG:4979\"\nseparater = \";\"\n[shots]\nfiles = [\"s.csv\"]\n");
        assert_eq!(problem(&text), "job.toml:6: unknown key separater in [bases]; did you mean separator?");
        assert_eq!(
            problem(&format!("{HEAD}[instrument]\nsigma_azimut_deg = 1.0\n")),
            "job.toml:4: unknown key sigma_azimut_deg in [instrument]; did you mean sigma_azimuth_deg?"
        );
    }

    #[test]
    fn values_of_a_wrong_type_say_which_is_wanted() {
        assert_eq!(
            problem(&format!("{HEAD}[shots]\nfiles = \"s.csv\"\n")),
            "job.toml:4: shots.files must be a list in [ ], not a text in quotes"
        );
        assert_eq!(
            problem(&format!("{HEAD}allow_ballpark = \"yes\"\n")),
            "job.toml:3: allow_ballpark must be true or false, not a text in quotes"
        );
    }

    #[test]
    fn undecided_marks_refuse_to_run() {
        let text = format!("{HEAD}[shots]\nfiles = [\"s.csv\"]\n[shots.columns]\n\"??_azimuth_deg\" = \"Bearing\"\n");
        assert_eq!(
            problem(&text),
            "job.toml:6: \"??_azimuth_deg\" is still undecided: put in place of ?? what its comment asks for"
        );
        assert!(
            problem(&text.replace("\"??_azimuth_deg\" = \"Bearing\"", "magnetic_azimuth_deg = \"??\""))
                .contains("still undecided")
        );
    }

    #[test]
    fn names_of_devices_and_endless_names_are_refused() {
        let named = |name: &str| {
            problem(&format!(
                "name = \"{name}\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles=[]\ncrs=\"EPSG:4979\"\n[shots]\nfiles=[]\n"
            ))
        };
        for device in ["CON", "con", "Nul", "PRN", "aux", "COM1", "lpt9"] {
            assert!(named(device).contains("is the name of a device on some systems"), "{}", named(device));
        }
        for name in ["CONE", "COM", "COM10", "lpt", "nul-1"] {
            assert!(named(name).contains("files is empty"), "{}", named(name));
        }
        assert!(named(&"n".repeat(101)).contains("use 100 at most"));
        assert!(named(&"n".repeat(100)).contains("files is empty"));
    }

    #[test]
    fn missing_keys_and_files() {
        assert!(problem("crs = \"EPSG:4326\"\n").contains("the job lacks the key"), "{}", problem("crs = \"EPSG:4326\"\n"));
        let text = format!("{HEAD}[bases]\nfiles = [\"b.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"s.csv\"]\n");
        assert_eq!(problem(&text), "job.toml:4: no file /nowhere/b.csv");
        assert!(problem("name = \n").starts_with("job.toml:1: not TOML"));
    }

    #[test]
    fn calibrations_name_their_line_and_their_dates() {
        let of = |header: &str, lines: &str| {
            let logs = "[bases]\nfiles=[]\ncrs=\"EPSG:4979\"\n[shots]\nfiles=[]\n";
            problem(&format!("{HEAD}{logs}{header}\n{lines}\n"))
        };
        assert_eq!(
            of("[[instrument.calibrations]]", "from = \"2026-06-30\"\nto = \"2026-04-01\"\ndistance_correction_m = 0.05"),
            "job.toml:8: [[instrument.calibrations]]: the calibration 2026-06-30 to 2026-04-01 ends before it begins; \
             change from or to"
        );
        let twice =
            "azimuth_correction_deg = 1\n[[instruments.old.calibrations]]\nto = \"2026-01-01\"\nazimuth_correction_deg = 2";
        assert_eq!(
            of("[[instruments.old.calibrations]]", twice),
            "job.toml:8: [[instruments.old.calibrations]]: the calibrations \"every date\" and \"up to 2026-01-01\" overlap; \
             end the first the day before the next begins"
        );
        assert_eq!(
            of("[[instrument.calibrations]]", "from = \"2026-02-30\"\ndistance_correction_m = 0.05"),
            "job.toml:9: \"2026-02-30\" is no day of the calendar; write it as \"2026-04-01\""
        );
        assert_eq!(
            of("[[instrument.calibrations]]", "form = \"2026-02-20\""),
            "job.toml:9: unknown key form in [instrument.calibrations]; did you mean from?"
        );
    }

    #[test]
    fn the_declination_is_a_word_or_a_number() {
        let of = |value: &str| {
            let text = format!("{HEAD}[north]\ndeclination = {value}\n[bases]\nfiles=[]\ncrs=\"EPSG:4979\"\n[shots]\nfiles=[]\n");
            problem(&text)
        };
        assert!(of("\"modell\"").contains("\"model\", or a number of degrees"), "{}", of("\"modell\""));
        assert!(of("200").contains("-180 to 180"));
        assert!(of("\"model\"").contains("files is empty"));
        assert!(of("-1").contains("files is empty"));
    }
}
