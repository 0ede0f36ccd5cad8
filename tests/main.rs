//! The whole test suite beside the units: one binary, because each binary links GDAL once more.
//!
//! A file is what is tested; `support`, `common` and `networks` are shared helpers, `reference` holds published values.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::needless_range_loop, clippy::type_complexity, missing_docs)]

mod common;
mod networks;
mod support;

mod adjustment;
mod any_log;
mod assess;
mod calibrate;
mod catalogue;
mod check;
mod commands;
mod compare;
mod completions;
mod composed;
mod damaged_jobs;
mod dates;
mod datums;
mod dependencies;
mod desktop_gis;
mod docs;
mod drawings;
mod edits;
mod examples;
mod exchange;
mod field_data;
mod first_evening;
mod found_bugs;
mod geopackage;
mod grids;
mod heights;
mod init;
mod layers;
mod man;
mod map;
mod messy_logs;
mod metadata;
mod network;
mod north;
mod nothing_mapped;
mod odd_inputs;
mod orientation;
mod own_work;
mod page;
mod plan;
mod privacy;
mod reference;
mod refraction;
mod remedies;
mod repeats;
mod schema;
mod stations;
mod styles;
mod terminal;
mod uncertainty;
mod units_shown;
mod values;
mod whole_runs;
