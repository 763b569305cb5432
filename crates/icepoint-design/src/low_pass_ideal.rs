//! What the parts of a low-pass would ideally be: the resistors that put its poles exactly where they belong with the
//! capacitors that it has. The error of the reading tells nothing of them: a filter is chosen for its response.

use icepoint_chain::front_end::Values;
use icepoint_chain::low_pass::Amplifier;
use icepoint_chain::low_pass::insert::Inserted;
use icepoint_chain::resolve::Resolved;

/// The low-pass whose values design chooses; `None` without one, or where the user fixed some of them, so that the others
/// are places like any.
pub(crate) fn chosen(resolved: &Resolved) -> Option<&Inserted> {
    let inserted = resolved.low_pass.as_ref()?;
    let tied = |name: &String| resolved.blueprint.slot(name).is_some_and(|s| s.tie.is_some());
    let mut names = inserted.stages.iter().flat_map(|s| s.ohms.iter().chain(&s.farads));
    names.all(|name| resolved.open.contains(name) || tied(name)).then_some(inserted)
}

/// The ideal value of each part of a low-pass that design chose, by designator; of capacitors the one they have. Of the
/// solutions of a stage that which is nearest to what it has. A corner that was left open is the one its stages have on
/// the geometric mean.
pub(crate) fn values(resolved: &Resolved, values: &Values) -> Values {
    let mut ideal = Values::new();
    let Some(inserted) = chosen(resolved) else { return ideal };
    let of = |names: &[String]| -> Option<Vec<f64>> {
        names.iter().map(|name| resolved.blueprint.value(name, values)).collect()
    };
    let stages: Vec<_> = inserted
        .stages
        .iter()
        .filter_map(|parts| Some((parts, of(&parts.ohms)?, of(&parts.farads)?)))
        .collect();
    let found: Vec<f64> = stages
        .iter()
        .filter_map(|(parts, ohms, farads)| {
            let built = parts.stage.built(ohms.clone(), farads.clone());
            Some(libm::log(built.pole(Amplifier::IDEAL)?.frequency / parts.stage.pole.frequency))
        })
        .collect();
    let mean = libm::exp(found.iter().sum::<f64>() / found.len().max(1) as f64);
    let corner = inserted.plan.corner.unwrap_or(mean);
    for (parts, ohms, farads) in stages {
        let off = |solution: &Vec<f64>| -> f64 {
            solution.iter().zip(&ohms).map(|(a, b)| libm::fabs(libm::log(a / b))).sum()
        };
        let solutions = parts.stage.ohms(corner, &farads);
        let nearest = solutions.into_iter().min_by(|a, b| off(a).total_cmp(&off(b)));
        ideal.extend(parts.ohms.iter().cloned().zip(nearest.unwrap_or(ohms)));
        ideal.extend(parts.farads.iter().cloned().zip(farads));
    }
    ideal
}
