//! How the job file writes the declination: the word `model`, or a number.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::{Serialize, Serializer};

use super::Declination;

impl Serialize for Declination {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Declination::Model => serializer.serialize_str("model"),
            Declination::Degrees(degrees) => serializer.serialize_f64(*degrees),
        }
    }
}

impl<'de> Deserialize<'de> for Declination {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct ModelOrDegrees;
        impl Visitor<'_> for ModelOrDegrees {
            type Value = Declination;

            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("\"model\", or a number of degrees, east positive")
            }

            fn visit_str<E: de::Error>(self, word: &str) -> Result<Declination, E> {
                match word {
                    "model" => Ok(Declination::Model),
                    _ => Err(E::invalid_value(de::Unexpected::Str(word), &self)),
                }
            }

            fn visit_f64<E: de::Error>(self, degrees: f64) -> Result<Declination, E> {
                Ok(Declination::Degrees(degrees))
            }

            fn visit_i64<E: de::Error>(self, degrees: i64) -> Result<Declination, E> {
                Ok(Declination::Degrees(degrees as f64))
            }
        }
        deserializer.deserialize_any(ModelOrDegrees)
    }
}

impl JsonSchema for Declination {
    fn schema_name() -> Cow<'static, str> {
        "Declination".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "\"model\" for the World Magnetic Model, or degrees, east positive.",
            "anyOf": [{ "const": "model" }, { "type": "number" }],
        })
    }
}
