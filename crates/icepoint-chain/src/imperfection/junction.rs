//! Reference junction: the sensor that tells the temperature of the terminals, or the analog compensation.
//!
//! One kelvin wrong here is S(board)/S(hot) kelvin in the reading. The slope and bow of an analog compensator against
//! the true emf curve are not deviations but part of the nominal prediction; what is listed is the sensor's own error.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::{Chain, ConverterKind, DividerArm, JunctionMethod, JunctionSensor};

pub(super) fn add(chain: &Chain, list: &mut Collector) {
    let junction = &chain.junction;
    let mut entry = |id: &str, label: &str, distribution, unit, source: Source, removed_by, effect| {
        // The gradient moves with the airflow in the cupboard: a calibration catches only that day's.
        let persistence = if id == "gradient" { Persistence::Occasion } else { Persistence::Board };
        list.add(
            Imperfection {
                id: format!("junction.{id}"),
                label: label.into(),
                family: Family::Junction,
                distribution,
                unit,
                source,
                persistence,
                removed_by,
            },
            effect,
        );
    };
    let sheet = || Source::data_sheet("the reference-junction sensor");
    entry(
        "accuracy",
        "reference-junction sensor",
        Distribution::Rectangular(junction.accuracy),
        "K",
        sheet(),
        Removes::ZERO,
        Effect::Sensor,
    );
    entry(
        "drift",
        "reference-junction sensor, change with board temperature",
        Distribution::Rectangular(junction.drift),
        "K/K",
        sheet(),
        Removes::NOTHING,
        Effect::SensorDrift,
    );
    entry(
        "gradient",
        "temperature difference between sensor and terminals",
        Distribution::Rectangular(junction.gradient),
        "K",
        Source::new(SourceKind::User, "reference_junction.gradient"),
        Removes::NOTHING,
        Effect::Gradient,
    );
    entry(
        "self_heating",
        "reference-junction sensor warms itself",
        Distribution::OneSided(junction.self_heating),
        "K",
        sheet(),
        Removes::ZERO,
        Effect::Sensor,
    );
    let volt_per_volt = Effect::SensorRatio;
    match junction.method {
        JunctionMethod::Analog { nonlinearity, .. } => entry(
            "bow",
            "non-linearity of the analog temperature sensor",
            Distribution::Rectangular(nonlinearity),
            "K",
            sheet(),
            Removes::NOTHING,
            Effect::SensorBow,
        ),
        JunctionMethod::Measured(JunctionSensor::Digital) | JunctionMethod::InCircuit => {}
        JunctionMethod::Measured(JunctionSensor::Thermistor {
            tolerance, beta_tolerance, divider, ..
        }) => {
            let limit = Distribution::Rectangular(tolerance);
            entry("r25", "thermistor at 25 °C", limit, "1", sheet(), Removes::ZERO, volt_per_volt.clone());
            let limit = Distribution::Rectangular(beta_tolerance);
            entry("beta", "thermistor beta", limit, "1", sheet(), Removes::NOTHING, Effect::SensorBeta);
            divider_rows(&mut entry, divider);
        }
        JunctionMethod::Measured(JunctionSensor::Platinum { class, divider }) => {
            let source = Source::new(SourceKind::Standard, format!("IEC 60751 class {}", class.name()));
            let limit = Distribution::Rectangular(1.0);
            let unit = "share of the limit";
            entry("class", "platinum resistor", limit, unit, source, Removes::ZERO, Effect::SensorClass);
            divider_rows(&mut entry, divider);
        }
    }
    let has_divider =
        matches!(junction.method, JunctionMethod::Measured(s) if !matches!(s, JunctionSensor::Digital));
    if let (true, ConverterKind::Adc { bits, .. }) = (has_divider, chain.converter.kind) {
        list.add(
            Imperfection {
                id: "junction.quantisation".into(),
                label: "quantisation of the reference-junction sensor".into(),
                family: Family::Junction,
                // Read at a gain of one.
                distribution: Distribution::Rectangular(
                    0.5 * chain.converter.input.width() / (1u64 << bits.min(63)) as f64,
                ),
                unit: "1",
                source: Source::new(SourceKind::Computed, "half of one step"),
                // Of one board temperature; the calibration saw another step.
                persistence: Persistence::Occasion,
                removed_by: Removes::NOTHING,
            },
            Effect::SensorFraction,
        );
    }
}

type Entry<'a> = dyn FnMut(&str, &str, Distribution, &'static str, Source, Removes, Effect) + 'a;

fn divider_rows(entry: &mut Entry<'_>, divider: DividerArm) {
    let source = || Source::new(SourceKind::DataSheet, "fixed resistor of the sensor's divider");
    let limit = Distribution::Rectangular(divider.tolerance);
    let label = "fixed resistor of the sensor's divider";
    entry("divider", label, limit, "1", source(), Removes::ZERO, Effect::SensorRatio);
    let limit = Distribution::Rectangular(divider.tempco);
    let label = "fixed resistor of the sensor's divider, temperature coefficient";
    entry("divider_tempco", label, limit, "1/K", source(), Removes::NOTHING, Effect::SensorRatioDrift);
}
