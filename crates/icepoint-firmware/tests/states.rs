//! Every state, produced by what causes it in the model and told by the generated C; and no failing state ever with a
//! number, walked in C over all inputs.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_chain::Model;
use icepoint_chain::chain::{Chain, ConverterKind, JunctionMethod, JunctionSensor};
use icepoint_chain::situation::Situation;
use icepoint_firmware::Firmware;
use icepoint_firmware::identifier::capitals;
use icepoint_firmware::inverse::JunctionInput;
use icepoint_firmware::states::State;

fn made(chain: &Chain) -> Firmware {
    common::made(chain, 0.25)
}

/// What the model's output of a situation is as a code, saturated like a converter.
fn code(chain: &Chain, volts: f64) -> u32 {
    let (low, high) = chain.converter.span();
    let code = ((volts.clamp(low, high) - low) / chain.converter.step()).round() as u32;
    let bits = match chain.converter.kind {
        icepoint_chain::chain::ConverterKind::Adc { bits, .. } => bits,
        _ => 0,
    };
    code.min((1 << bits) - 1)
}

/// States of codes as the generated C tells them: `(code, junction, whether the constants are spoiled)`.
fn told(f: &Firmware, inputs: &[(u32, i32, bool)]) -> Vec<State> {
    let kind = if f.program.aligned_bits == 16 { "uint16_t" } else { "uint32_t" };
    let list: Vec<String> =
        inputs.iter().map(|(c, j, bad)| format!("{{ {c}, {j}, {} }}", i32::from(*bad))).collect();
    let result = if f.program.wide_result() { "int32_t" } else { "int16_t" };
    let up = capitals(&f.facts.prefix);
    let argument = match f.program.junction_input {
        JunctionInput::None => String::new(),
        JunctionInput::Temperature => ", (int16_t)inputs[k][1]".to_owned(),
        JunctionInput::Divider(_) => format!(", ({kind})inputs[k][1]"),
    };
    let main = format!(
        "int main(void)
{{
    static const int32_t inputs[][3] = {{ {list} }};
    unsigned k;
    for (k = 0; k < sizeof inputs / sizeof inputs[0]; k++) {{
        t_calibration constants = {up}_CALIBRATION_NOMINAL;
        {result} value = 0;
        unsigned state;
        if (inputs[k][2]) {{
            constants.offset++;
        }}
        state = t_temperature(({kind})inputs[k][0]{argument}, &constants, &value);
        if ((state == 0) == (value == {up}_INVALID)) {{
            state = 99;
        }}
        printf(\"%u\\n\", state);
    }}
    return 0;
}}
",
        list = list.join(", ")
    );
    common::run_c(f, &main)
        .lines()
        .map(|line| {
            let number: usize = line.parse().expect("a number");
            *State::ALL
                .get(number)
                .unwrap_or_else(|| panic!("a number goes with a failing state, or none with a good one"))
        })
        .collect()
}

/// A chain's outputs in the model: hot, reversed, shorted, open; the board in the middle of its range.
fn output(chain: &Chain, hot: f64, board: f64) -> u32 {
    let model = Model::without_dynamics(chain.clone()).expect("a model");
    let mean = model.mean_deviations().to_vec();
    let reading = model.predict(&Situation { hot, board, head: board }, &mean).expect("a reading");
    code(chain, reading.output_volts)
}

/// Output with the sensor's voltage the other way round, by the nominal circuit (which is linear inside its limits).
fn reversed(chain: &Chain, hot: f64, board: f64) -> u32 {
    let model = Model::without_dynamics(chain.clone()).expect("a model");
    let (offset, gain) = model.nominal_transfer();
    let emf = |t: f64| chain.probe.letter.emf_and_slope_extended(t).0;
    code(chain, offset - gain * (emf(hot) - emf(board)))
}

fn open(chain: &Chain, board: f64) -> u32 {
    let model = Model::without_dynamics(chain.clone()).expect("a model");
    code(chain, model.open_sensor(board).expect("an operating point").output_volts)
}

#[test]
fn every_state_is_told_by_the_generated_code() {
    if !common::have("gcc") {
        return;
    }
    let mut seen = [0u32; State::ALL.len()];
    let mut check = |chain: &Chain, f: &Firmware, cases: Vec<(&str, u32, i32, bool, State)>| {
        let inputs: Vec<(u32, i32, bool)> = cases.iter().map(|c| (c.1, c.2, c.3)).collect();
        for (case, state) in cases.iter().zip(told(f, &inputs)) {
            println!("{}: {} (code {}): {}", chain.name, case.0, case.1, state.name());
            assert_eq!(state, case.4, "{}: {} (code {})", chain.name, case.0, case.1);
            seen[state as usize] += 1;
        }
    };
    let at = |celsius: f64| (256.0 * celsius) as i32;

    // The kiln as it is: a broken sensor is driven upscale.
    let kiln = common::kiln();
    let f = made(kiln);
    let (low, high) = f.program.junction_read().expect("a junction");
    let warm = output(kiln, 650.0, 25.0);
    check(
        kiln,
        &f,
        vec![
            ("650 °C", warm, at(25.0), false, State::InRange),
            ("open, cold board", open(kiln, 5.0), at(5.0), false, State::SensorOpen),
            ("open, warm board", open(kiln, 55.0), at(55.0), false, State::SensorOpen),
            // With a cold board the code of 20 °C still means less with a colder one: below.
            ("-20 °C read", output(kiln, 20.0, 55.0), at(5.0), false, State::Below),
            ("hotter than the range", output(kiln, 1100.0, 5.0), at(55.0), false, State::Above),
            ("board too cold", warm, low - 1, false, State::JunctionOutOfRange),
            ("board too warm", warm, high + 1, false, State::JunctionOutOfRange),
            ("constants with a flipped bit", warm, at(25.0), true, State::CalibrationInvalid),
        ],
    );

    // A range that lies above the board's: a short shows, and so does a reversed sensor, if the converter sees it.
    let mut hot = common::kiln().clone();
    hot.name = "kiln from 300 °C".into();
    hot.need.hot = (300.0, 1100.0);
    let f = made(&hot);
    check(
        &hot,
        &f,
        vec![
            ("650 °C", output(&hot, 650.0, 25.0), at(25.0), false, State::InRange),
            (
                "shorted, at the warmest board",
                output(&hot, 55.0, 55.0),
                at(55.0),
                false,
                State::SensorReversed,
            ),
            ("shorted, at the coldest board", output(&hot, 5.0, 5.0), at(5.0), false, State::SensorReversed),
            ("beyond half the way to the range", output(&hot, 250.0, 25.0), at(25.0), false, State::Below),
            ("open", open(&hot, 25.0), at(25.0), false, State::SensorOpen),
        ],
    );

    // A bipolar converter sees a reversed sensor's voltage.
    let bipolar = common::chain(icepoint_sensors::Letter::J, (0.0, 700.0), 16);
    let f = made(&bipolar);
    let reversed_code = reversed(&bipolar, 300.0, 25.0);
    let codes = (1 << 16) - 1;
    let mut cases = vec![
        ("300 °C", output(&bipolar, 300.0, 25.0), at(25.0), false, State::InRange),
        ("lowest code", 0, at(25.0), false, State::ConverterSaturated),
    ];
    if f.program.thresholds.reversed_below.is_some() && reversed_code > 0 {
        cases.push(("reversed", reversed_code, at(25.0), false, State::SensorReversed));
    }
    if f.program.thresholds.open_from.is_none() {
        cases.push(("highest code", codes, at(25.0), false, State::ConverterSaturated));
    }
    check(&bipolar, &f, cases);

    // A falling chain tells the same from the other end.
    let falling = common::falling();
    let f = made(falling);
    check(
        falling,
        &f,
        vec![
            ("650 °C", output(falling, 650.0, 25.0), at(25.0), false, State::InRange),
            ("open", open(falling, 25.0), at(25.0), false, State::SensorOpen),
            ("hotter than the range", output(falling, 1100.0, 5.0), at(55.0), false, State::Above),
            (
                "beyond the converter",
                4096,
                at(25.0),
                false,
                if f.program.thresholds.open_below.is_some() {
                    State::SensorOpen
                } else {
                    State::ConverterSaturated
                },
            ),
        ],
    );

    // A thermistor's own codes: both ends of its divider are a broken or shorted sensor.
    let thermistor = common::thermistor();
    let f = made(&thermistor);
    let (low, high) = f.program.junction_read().expect("a junction");
    let warm = output(&thermistor, 650.0, 25.0);
    check(
        &thermistor,
        &f,
        vec![
            ("lowest code that is used", warm, low, false, State::InRange),
            ("highest code that is used", warm, high, false, State::InRange),
            ("one below", warm, low - 1, false, State::JunctionOutOfRange),
            ("one above", warm, high + 1, false, State::JunctionOutOfRange),
            ("thermistor shorted", warm, 0, false, State::JunctionOutOfRange),
            ("thermistor open", warm, 4095, false, State::JunctionOutOfRange),
            ("no code of the converter", warm, 4096, false, State::JunctionOutOfRange),
        ],
    );

    // Its resistor far too small, and few codes: a broken one is near to a cold one, and the converter's own errors lie
    // between (2 codes of offset, 2 of non-linearity, 0.1 % of gain).
    let mut skewed = common::thermistor();
    skewed.need.board = (-40.0, 55.0);
    if let JunctionMethod::Measured(JunctionSensor::Thermistor { divider, .. }) = &mut skewed.junction.method
    {
        divider.ohms = 330.0;
    }
    if let ConverterKind::Adc { bits, .. } = &mut skewed.converter.kind {
        *bits = 10;
    }
    let step = skewed.converter.step();
    (skewed.converter.offset, skewed.converter.nonlinearity) = (2.0 * step, 2.0 * step);
    let f = made(&skewed);
    let (low, high) = f.program.junction_read().expect("a junction");
    assert!(high < 1023 - 5 && low > 0, "{low} to {high}");
    let warm = output(&skewed, 650.0, 25.0);
    check(
        &skewed,
        &f,
        vec![
            ("highest code that is used", warm, high, false, State::InRange),
            ("thermistor open", warm, 1023, false, State::JunctionOutOfRange),
            ("open, the converter 5 codes low", warm, 1018, false, State::JunctionOutOfRange),
            ("thermistor shorted", warm, 0, false, State::JunctionOutOfRange),
        ],
    );
    let header = f.c_header();
    assert!(header.contains("CAUTION: the board is to be used from -40 to 55 degC"), "{header}");

    for state in State::ALL {
        assert!(seen[state as usize] > 0, "no test produced {}", state.name());
    }
}

/// Walked in C, every input at five of the junction's and two outside: a failing state has the invalid number, and a good
/// one never has it.
#[test]
fn no_failing_state_has_a_number() {
    if !common::have("gcc") {
        return;
    }
    for chain in [
        common::kiln().clone(),
        common::falling().clone(),
        common::thermistor(),
        common::compensated_12_bit(),
    ] {
        let f = made(&chain);
        let p = &f.program;
        let kind = if p.junction_input == JunctionInput::Temperature { "int16_t" } else { "uint16_t" };
        let mut junctions = icepoint_firmware::walk::junction_grid(p.junction.as_ref().map(|j| j.range), 5);
        let argument = if let Some(j) = &p.junction {
            junctions.extend([j.range.0 - 1, j.range.1 + 1]);
            format!(", ({kind})junctions[j]")
        } else {
            String::new()
        };
        let list: Vec<String> = junctions.iter().map(i32::to_string).collect();
        let unused = if argument.is_empty() { "(void)junctions;" } else { "" };
        let main = format!(
            "int main(void)
{{
    static const int32_t junctions[] = {{ {list} }};
    t_calibration constants = T_CALIBRATION_NOMINAL;
    unsigned j;
    uint32_t k;
    unsigned long failing = 0, good = 0, wrong = 0;
    {unused}
    for (j = 0; j < {count}; j++) {{
        for (k = 0; k < 65536; k++) {{
            int16_t value = 12345;
            unsigned state = t_temperature_fine((uint16_t)k{argument}, &constants, &value);
            if (state == 0) {{
                good++;
            }} else {{
                failing++;
            }}
            wrong += (state == 0) == (value == T_INVALID);
        }}
    }}
    printf(\"%lu %lu %lu\\n\", good, failing, wrong);
    return 0;
}}
",
            list = list.join(", "),
            count = junctions.len()
        )
        .replace("int16_t value", if p.wide_result() { "int32_t value" } else { "int16_t value" });
        let main =
            if p.bits < p.aligned_bits { main } else { main.replace("t_temperature_fine", "t_temperature") };
        let text = common::run_c(&f, &main);
        let numbers: Vec<u64> = text.split_whitespace().map(|w| w.parse().expect("a number")).collect();
        println!("{}: {numbers:?}", chain.name);
        assert!(numbers[0] > 0 && numbers[1] > 0, "{}: both kinds occur", chain.name);
        assert_eq!(numbers[2], 0, "{}: failing states with a number", chain.name);
        assert_eq!(numbers[0] + numbers[1], 65536 * junctions.len() as u64);
    }
}
