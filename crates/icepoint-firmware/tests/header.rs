//! The kiln's header and the float one as they are written, kept beside this file: a change in what users include shows.
//! `ICEPOINT_KEEP=1` writes them anew.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_firmware::choice::Effort;
use icepoint_firmware::curve::Form;
use icepoint_firmware::{Request, firmware};

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
