//! Step and mains response of the *generated* filter: the C is compiled, fed with codes of a 12-bit converter and compared
//! with the formulas that the budget assumed.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_chain::chain::DigitalFilter;
use icepoint_chain::digital;

/// What is no code of the converter counts as the last one, in C and in Rust: it must not wrap and read as a temperature.
#[test]
fn what_is_no_code_counts_as_the_last_one() {
    if !common::have("gcc") || !common::have("rustc") {
        return;
    }
    for filter in [
        DigitalFilter::Mean { periods: 1, rate: 1000.0 },
        DigitalFilter::FirstOrder { time_constant: 0.05, rate: 1000.0 },
        DigitalFilter::Sinc { order: 3, rate: 1000.0, output_rate: 50.0 },
    ] {
        for bits in [12, 18] {
            let mut chain = common::chain(icepoint_sensors::Letter::K, (0.0, 900.0), bits);
            chain.filter = filter;
            let f = common::made(&chain, 0.5);
            let program = f.filter.expect("a filter");
            let count = 8 * program.codes_per_result().max(1);
            let last = (1u32 << bits) - 1;
            let most = if f.program.aligned_bits == 16 { 0xffff } else { u32::MAX };
            let codes: Vec<u32> = vec![last + 1, 0x9800.max(last + 1), most - 1, most, last];
            let list: Vec<String> = codes.iter().map(u32::to_string).collect();
            let (kind, word) =
                if f.program.aligned_bits == 16 { ("uint16_t", "u16") } else { ("uint32_t", "u32") };
            let main = format!(
                "int main(void)
{{
    static const uint32_t codes[] = {{ {list} }};
    unsigned c;
    uint32_t k;
    for (c = 0; c < {codes}; c++) {{
        t_filter filter = {{ 0 }};
        {kind} fine = 0;
        for (k = 0; k < {count}; k++) {{
            (void)t_filter_add(&filter, ({kind})codes[c], &fine);
        }}
        printf(\"%lu\\n\", (unsigned long)fine);
    }}
    return 0;
}}
",
                list = list.iter().map(|c| format!("{c}u")).collect::<Vec<_>>().join(", "),
                codes = codes.len(),
            );
            let in_c: Vec<u32> =
                common::run_c(&f, &main).lines().map(|l| l.parse().expect("a number")).collect();
            let in_rust = run_rust(
                &f,
                &format!(
                    "for code in [{list}] {{
        let mut filter = t::Filter::default();
        let mut fine = None;
        for _ in 0..{count} {{
            fine = filter.add(code as {word}).or(fine);
        }}
        println!(\"{{}}\", fine.unwrap_or(0));
    }}",
                    list = list.iter().map(|c| format!("{c}u32")).collect::<Vec<_>>().join(", "),
                ),
            );
            let aligned = last << f.program.alignment();
            assert_eq!(in_c, vec![aligned; codes.len()], "{filter:?}, {bits} bit, C");
            assert_eq!(in_rust, vec![aligned; codes.len()], "{filter:?}, {bits} bit, Rust");
        }
    }
}

/// Numbers that a main function prints which has the generated module as `t`.
fn run_rust(f: &icepoint_firmware::Firmware, body: &str) -> Vec<u32> {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("t.rs"), f.rust_module()).expect("written");
    let main = format!("#[allow(dead_code)]\nmod t;\nfn main() {{\n    {body}\n}}\n");
    std::fs::write(folder.path().join("main.rs"), main).expect("written");
    let built = std::process::Command::new("rustc")
        .args(["--edition", "2024", "-C", "debug-assertions=on", "-o", "main.elf", "main.rs"])
        .current_dir(folder.path())
        .output()
        .expect("rustc");
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    let ran = std::process::Command::new(folder.path().join("main.elf")).output().expect("the program");
    String::from_utf8(ran.stdout).expect("text").lines().map(|l| l.parse().expect("a number")).collect()
}

const MAINS: f64 = 50.0;
/// Frequencies: mains, 1 % beside it, slow, between nulls, near the second null.
const HERTZ: [f64; 7] = [50.0, 49.5, 50.5, 3.0, 23.0, 70.0, 99.0];
/// Codes are whole: half of one on an amplitude of 1900, twice because input and result are rounded.
const ROUNDING: f64 = 5.3e-4;
/// Of 24 phases the nearest to a crest shows at least cos(π/24).
const PHASES: f64 = 0.009;

#[test]
fn the_generated_filter_is_the_one_of_the_budget() {
    if !common::have("gcc") {
        return;
    }
    for filter in [
        DigitalFilter::Mean { periods: 1, rate: 1000.0 },
        DigitalFilter::Mean { periods: 5, rate: 600.0 },
        DigitalFilter::FirstOrder { time_constant: 0.05, rate: 1000.0 },
        DigitalFilter::Sinc { order: 3, rate: 1000.0, output_rate: 50.0 },
        DigitalFilter::Sinc { order: 4, rate: 2000.0, output_rate: 10.0 },
    ] {
        let mut chain = common::kiln().clone();
        chain.filter = filter;
        let f = common::made(&chain, 0.5);
        assert_eq!((f.program.bits, f.program.aligned_bits), (12, 16));
        let program = f.filter.expect("a filter");
        let each = program.codes_per_result();
        let count = 40 * each.max(100);
        let hertz: Vec<String> = HERTZ.iter().map(f64::to_string).collect();
        let main = format!(
            "#include <math.h>
int main(void)
{{
    static const double hertz[] = {{ {hertz} }};
    unsigned h, phase, last = 0, results = 0;
    uint32_t k;
    uint16_t fine = 0;
    t_filter step = {{ 0 }};
    for (h = 0; h < {frequencies}; h++) {{
        double largest = 0;
        for (phase = 0; phase < 24; phase++) {{
            t_filter filter = {{ 0 }};
            for (k = 0; k < {count}; k++) {{
                double angle = 6.283185307179586 * (hertz[h] * k / {rate} + phase / 24.0);
                uint16_t code = (uint16_t)(2048.5 + 1900.0 * sin(angle));
                if (t_filter_add(&filter, code, &fine) && k > {count} / 2) {{
                    double size = fabs((double)fine - 32768.0) / (16.0 * 1900.0);
                    largest = size > largest ? size : largest;
                }}
            }}
        }}
        printf(\"%.9f\\n\", largest);
    }}
    for (k = 0; k < {count}; k++) {{
        (void)t_filter_add(&step, 100, &fine);
    }}
    printf(\"%u\\n\", fine);
    for (k = 1; k <= 5 * {count}; k++) {{
        if (t_filter_add(&step, 3900, &fine)) {{
            results++;
            if (fabs(62400.0 - fine) > 60.8) {{
                last = (unsigned)k;
            }}
        }}
    }}
    printf(\"%u\\n%u\\n%u\\n\", last, results, fine);
    return 0;
}}
",
            hertz = hertz.join(", "),
            frequencies = HERTZ.len(),
            rate = filter.rate(),
        );
        let text = common::run_c(&f, &main);
        let numbers: Vec<f64> = text.lines().map(|l| l.parse().expect("a number")).collect();
        for (hertz, got) in HERTZ.iter().zip(&numbers) {
            let expected = digital::magnitude(filter, MAINS, *hertz);
            println!("{filter:?}: {hertz} Hz: {got:.6}, budget {expected:.6}");
            assert!(
                (got - expected).abs() <= ROUNDING + PHASES * expected,
                "{filter:?} at {hertz} Hz: {got} {expected}"
            );
        }
        let [before, last, results, end] = numbers[HERTZ.len()..] else { panic!("{text}") };
        assert_eq!((before, end), (1600.0, 62400.0), "{filter:?}: constant codes come out as they are");
        assert!(results >= 5.0, "{filter:?}: {results} results");
        // A result comes at the end of its block, up to one block after the step's settling.
        let settled = last / filter.rate();
        let expected = digital::settling(filter, MAINS, 1e-3);
        let block = f64::from(each) / filter.rate();
        println!("{filter:?}: settled after {settled:.4} s, budget {expected:.4} s");
        assert!(
            settled <= expected + block + 0.01 * expected,
            "{filter:?}: {settled} s, budget {expected} s"
        );
        assert!(
            settled + 2.0 * block + 0.05 * expected >= expected,
            "{filter:?}: {settled} s, budget {expected} s"
        );
    }
}
