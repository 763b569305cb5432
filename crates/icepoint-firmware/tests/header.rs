//! The kiln's header and the float one as they are written, kept beside this file: a change in what users include shows.
//! `ICEPOINT_KEEP=1` writes them anew.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_firmware::choice::Effort;
use icepoint_firmware::curve::Form;
use icepoint_firmware::{Request, firmware};

/// What a code is worth has digits however fine it is, and the junction's span is the one that the input has.
#[test]
fn figures_of_the_banner_are_those_of_the_chain() {
    let request = Request {
        name: Some("t".into()),
        form: Some(Form::Polynomial(2)),
        effort: Effort { all: false },
        float: true,
        ..Request::default()
    };
    let f = firmware(&common::example("freezer"), &request).expect("firmware");
    assert_eq!(f.inverse.bits, 24);
    for file in f.files().iter().filter(|file| file.name.ends_with(".h") || file.name.ends_with(".md")) {
        let line = file.contents.lines().find(|l| l.contains("one code is")).expect("a line");
        let numbers: Vec<f64> = line.split_whitespace().filter_map(|w| w.parse().ok()).collect();
        let [least, most] = numbers[..] else { panic!("{line}") };
        assert!((least / f.code_kelvin.0 - 1.0).abs() < 0.01, "{line}");
        assert!((most / f.code_kelvin.1 - 1.0).abs() < 0.01, "{line}");
    }
    // 32767 steps of 1/256 K.
    let mut hot = common::kiln().clone();
    (hot.need.hot, hot.need.board) = ((300.0, 1000.0), (-40.0, 125.0));
    let f = firmware(&hot, &request).expect("firmware");
    assert_eq!(f.inverse.board.1, 130.0);
    assert!(f.c_header().contains("Reference junction: -45.0 to 127.9 degC"), "{}", f.c_header());
}

#[test]
fn headers_are_the_kept_ones() {
    let request = Request {
        name: Some("kiln".into()),
        error: Some(0.1),
        form: Some(Form::Polynomial(2)),
        effort: Effort { all: false },
        float: true,
        ..Request::default()
    };
    let f = firmware(common::kiln(), &request).expect("firmware");
    let files = f.files();
    for (name, kept) in
        [("kiln.h", include_str!("kept/kiln.h")), ("kiln_float.h", include_str!("kept/kiln_float.h"))]
    {
        let made =
            &files.iter().find(|file| file.name == name).unwrap_or_else(|| panic!("no {name}")).contents;
        if std::env::var_os("ICEPOINT_KEEP").is_some() {
            let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kept").join(name);
            std::fs::write(path, made).expect("written");
            continue;
        }
        assert!(made == kept, "{name} has changed; look at it and keep it with ICEPOINT_KEEP=1:\n{made}");
    }
}
