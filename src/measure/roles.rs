//! The roles that each kind of measurement knows, for messages on rows whose role is none of them.

use super::{Group, Refusal};

/// The roles of a kind, in words; none for a kind that takes any.
fn known(measure: &str) -> Option<&'static [&'static str]> {
    match measure {
        "height" => Some(&["foot", "top", "distance"]),
        "width" => Some(&["left", "right", "near_face", "centre", "plane"]),
        "span" => Some(&["support_a", "support_b", "wire", "ground", "object"]),
        "volume" => Some(&["toe", "crest", "top", "face", "rim", "floor"]),
        "profile" => Some(&["start", "end", "line", "point"]),
        _ => None,
    }
}

/// A refusal, with the roles that the measurement knows where a row has another.
pub(super) fn with_known_roles(group: &Group<'_>, refusal: Refusal) -> Refusal {
    let Some(roles) = known(&group.measure) else { return refusal };
    let Some(row) = group.sightings.iter().find(|row| !roles.contains(&row.role.as_str())) else { return refusal };
    let list = roles.join(", ");
    if refusal.contains(&list) {
        return refusal;
    }
    let has = match row.role.as_str() {
        "" => "has no role".to_owned(),
        role => format!("has the role \"{role}\""),
    };
    let example = if row.role.is_empty() { "base" } else { row.role.as_str() };
    format!(
        "{refusal}; {} {has}, and a {} has the roles {list}: mend the row, or say what the log's word means, \"{example}\" = \"{}\" under \
         [shots.roles]",
        row.label, group.measure, roles[0]
    )
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::fixture::{Scene, sigmas};

    #[test]
    fn an_unknown_role_gets_the_list_of_those_that_the_measurement_knows() {
        let mut scene = Scene::new(&[[0.0; 3]], sigmas());
        scene.row(0, "base", "A", [40.0, 30.0, 5.0]);
        scene.row(0, "top", "B", [40.0, 30.0, 15.0]);
        let refusal = crate::measure::compose(&scene.group("height", "oak"), &Default::default()).unwrap_err();
        assert_eq!(
            refusal,
            "height of oak lacks the row with role foot; A has the role \"base\", and a height has the roles foot, top, distance: mend the \
             row, or say what the log's word means, \"base\" = \"foot\" under [shots.roles]"
        );
    }

    #[test]
    fn each_kind_tells_its_own_roles() {
        for (measure, list) in [
            ("height", "foot, top, distance"),
            ("width", "left, right, near_face, centre, plane"),
            ("span", "support_a, support_b, wire, ground, object"),
            ("volume", "toe, crest, top, face, rim, floor"),
            ("profile", "start, end, line, point"),
        ] {
            let first = list.split(',').next().unwrap();
            let said = |role: &str, refusal: &str| {
                let mut scene = Scene::new(&[[0.0; 3]], sigmas());
                list.split(", ").chain([role]).for_each(|role| scene.row(0, role, "A", [40.0, 30.0, 5.0]));
                with_known_roles(&scene.group(measure, "oak"), refusal.to_owned().into()).to_string()
            };
            let ending = format!("and a {measure} has the roles {list}: mend the row, or say what the log's word means");
            assert_eq!(
                said("bark", "no"),
                format!("no; A has the role \"bark\", {ending}, \"bark\" = \"{first}\" under [shots.roles]")
            );
            assert_eq!(said("", "no"), format!("no; A has no role, {ending}, \"base\" = \"{first}\" under [shots.roles]"));
            // What names them already, or has no row of another role, stays as it is.
            assert_eq!(said("bark", &format!("give it one of {list}")), format!("give it one of {list}"));
            assert_eq!(said(first, "no"), "no");
        }
        for measure in ["missing_line", "plane_sight", "plane", "girth"] {
            let mut scene = Scene::new(&[[0.0; 3]], sigmas());
            scene.row(0, "bark", "A", [40.0, 30.0, 5.0]);
            assert_eq!(with_known_roles(&scene.group(measure, "oak"), "no".to_owned().into()), "no");
        }
    }
}
