use super::*;
use crate::file::RecordKind;

const USUAL: Usual = Usual { resistor: (0.01, 50e-6), capacitor: (0.1, 1e-3) };

fn read(text: &str) -> Drawer {
    parse("drawer.csv", text, USUAL).unwrap_or_else(|refused| panic!("{refused}"))
}

fn refused(text: &str) -> Vec<(String, usize, usize)> {
    let refused = parse("drawer.csv", text, USUAL).expect_err(text);
    refused
        .problems
        .iter()
        .map(|p| {
            let at = p.at.as_ref().map(|label| refused.source.locate(label.span.start));
            (p.code.to_string(), at.map_or(0, |l| l.line), at.map_or(0, |l| l.column))
        })
        .collect()
}

#[test]
fn columns_in_any_order_and_units_as_people_write_them() {
    let drawer = read(
        "# left compartment\ncount;tolerance;value;note;kind;tempco\n20;0.1 %;4k7;good ones;resistor;25 ppm/K\n\
         3;;\"100 nF\";\"old; but \"\"fine\"\"\";;\n\n2;1 %;2.2 MΩ;;;\n",
    );
    assert_eq!(drawer.parts.len(), 3);
    let [small, large, capacitor] = [drawer.parts[0], drawer.parts[1], drawer.parts[2]];
    assert_eq!(
        (small.value, small.tolerance, small.tempco, small.count),
        (4700.0, 0.001, 25e-6, Count::Pieces(20))
    );
    assert_eq!((large.value, large.tolerance, large.tempco), (2.2e6, 0.01, 50e-6));
    assert_eq!((capacitor.kind, capacitor.value, capacitor.tolerance), (SlotKind::Capacitor, 100e-9, 0.1));
    assert_eq!(capacitor.count, Count::Pieces(3));
}

#[test]
fn alike_lines_are_one_and_different_tolerances_are_not() {
    let drawer = read("value,tolerance,count\n1 kΩ,1 %,4\n1 kΩ,0.1 %,2\n1k,1 %,3\n");
    assert_eq!(drawer.parts.len(), 2);
    assert_eq!((drawer.parts[0].tolerance, drawer.parts[0].count), (0.001, Count::Pieces(2)));
    assert_eq!((drawer.parts[1].tolerance, drawer.parts[1].count), (0.01, Count::Pieces(7)));
}

/// Two of 0.1 % and one of 1 %: a stated tolerance is that part, and nobody takes what others took.
#[test]
fn lines_of_one_value_are_taken_one_after_the_other() {
    let drawer = read("value,tolerance,count\n1 kΩ,1 %,1\n1 kΩ,0.1 %,2\n2 kΩ,1 %,0\n");
    let want = |value: f64, tolerance: Option<f64>| WantedPart { kind: SlotKind::Resistor, value, tolerance };
    let four = [want(1e3, None); 4];
    assert_eq!(drawer.lines(&four, FirstTaken::Tightest), [Some(0), Some(0), Some(1), None]);
    assert_eq!(drawer.lines(&four, FirstTaken::Widest), [Some(1), Some(0), Some(0), None]);
    let stated = [want(1e3, Some(0.01)), want(1e3, Some(0.01)), want(1e3, Some(0.05)), want(2e3, None)];
    assert_eq!(drawer.lines(&stated, FirstTaken::Tightest), [Some(1), Some(0), Some(0), None]);
    let capacitor = WantedPart { kind: SlotKind::Capacitor, value: 1e3, tolerance: None };
    assert_eq!(drawer.lines(&[capacitor], FirstTaken::Tightest), [None]);
}

#[test]
fn without_a_count_there_is_enough() {
    assert_eq!(read("value\n1 kΩ\n").parts[0].count, Count::Enough);
    // An empty field under a column "count" is none.
    assert_eq!(read("value,count\n1 kΩ,\n2 kΩ,1\n").parts[0].count, Count::Pieces(0));
}

#[test]
fn mistakes_are_told_all_at_once_with_their_places() {
    let text = "value,kind,tolerance,count\n4.7,resistor,1 %,2\n4.7 kΩ,resister,1 %,2\n1 µF,capacitor,1 V,2\n\
                1 kΩ,resistor,1 %,two\n,resistor,1 %,2\n1 kΩ,resistor,1 %,2,5\n1 GΩ,resistor,60 %,1\n";
    let found = refused(text);
    let expected = [
        ("quantity.no_unit", 2, 1),
        ("drawer.unknown_kind", 3, 8),
        ("quantity.wrong_unit", 4, 16),
        ("drawer.count", 5, 19),
        ("drawer.no_value", 6, 1),
        ("drawer.fields", 7, 21),
        ("value.impossible", 8, 15),
    ];
    let found: Vec<_> = found.iter().map(|(c, l, k)| (c.as_str(), *l, *k)).collect();
    assert_eq!(found, expected);
}

#[test]
fn headers_that_say_nothing() {
    assert_eq!(refused("")[0].0, "drawer.empty");
    assert_eq!(refused("value,count\n")[0].0, "drawer.empty");
    assert_eq!(refused("vlaue,count\n1 kΩ,2\n")[0], ("drawer.unknown_column".into(), 1, 1));
    assert_eq!(refused("kind,count\nresistor,2\n")[0].0, "drawer.no_value_column");
    assert_eq!(refused("value,value\n1 kΩ,2\n")[0], ("drawer.column_twice".into(), 1, 7));
    let refused = parse("d.csv", "vlaue\n", USUAL).expect_err("misspelt");
    assert!(refused.to_string().contains("did you mean value?"), "{refused}");
}

#[test]
fn any_text_is_read_or_refused() {
    for text in [
        "\"",
        "\"\"\"",
        "value\n\"",
        ",,,\n,,",
        "\u{feff}value\n1 kΩ",
        "#",
        "value\r\n1 kΩ\r\n",
        "value\n\u{0}",
        "é;ü\nà",
    ] {
        let _ = parse("d.csv", text, USUAL);
    }
    assert_eq!(read("\u{feff}value\r\n1 kΩ\r\n").parts[0].value, 1e3);
}

#[test]
fn records_are_counted_like_parts() {
    let text = "value,kind,count\nfine,converter,1\nclose,reference,0\nfine,converter,2\nfront,amplifier,2\n";
    let drawer = read(text);
    let of = |kind, name: &str| drawer.record(&(kind, name.to_owned()));
    assert_eq!(of(RecordKind::Converter, "fine"), Count::Pieces(3));
    assert_eq!(
        of(RecordKind::Converter, "coarse"),
        Count::Pieces(0),
        "it lists converters, and not this one"
    );
    assert_eq!(of(RecordKind::Reference, "close"), Count::Pieces(0));
    assert_eq!(of(RecordKind::Sensor, "any"), Count::Enough, "it lists no sensor");
    assert_eq!((drawer.amplifier("front"), drawer.amplifier("buffer")), (Count::Pieces(2), Count::Pieces(0)));
    assert_eq!(read("value\n1 kΩ\n").amplifier("front"), Count::Enough);
}

#[test]
fn potentiometers_are_no_resistors() {
    let drawer = read(
        "value,kind,tolerance,tempco,count\n1 kΩ,potentiometer,20 %,,1\n1 kΩ,potentiometer,10 %,50 ppm/K,1\n\
         1k,potentiometer,20 %,,1\n200 Ω,potentiometer,,,0\n5 kΩ,potentiometer,,,2\n",
    );
    assert!(drawer.parts.is_empty() && drawer.tracks.len() == 4, "{drawer:?}");
    // The tightest goes first, and then there are two of the other line.
    let tolerance = |taken| drawer.track(1e3, taken).map(|t| t.tolerance);
    assert_eq!([0, 1, 2, 3].map(tolerance), [Some(Some(0.1)), Some(Some(0.2)), Some(Some(0.2)), None]);
    assert_eq!(drawer.track(200.0, 0), None);
    assert_eq!(drawer.track(5e3, 1).map(|t| (t.tolerance, t.tempco)), Some((None, None)));
    assert_eq!(refused("value,kind\n1 V,potentiometer\n")[0].0, "quantity.wrong_unit");
}
