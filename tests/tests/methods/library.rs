//! What the entries say, against each other and against published figures by their ids.

use std::collections::BTreeSet;

use draught_sim::methods::{How, Is, Library, ReportedAt};
use draught_sim::plan::source::Source;
use draught_sim::propose::{Answer, Fibres, Proposal, Wish, mass_mg, propose};

use crate::{entry, same};

/// Mass at a stated volume, in mg: the concentration for which the method states it, times the volume.
fn stated_mg(id: &str, key: &str) -> f64 {
    let entry = entry(id);
    let value = entry.values.get(key).expect("a volume");
    let Is::One(l) = value.is else { panic!("one volume") };
    mass_mg(value.at.as_ref().expect("at a concentration").0, l)
}

/// MASS-1, NMAM 0600: 20 L and 400 L at 5 mg/m3 are 0.1 and 2.0 mg, the ends of its range.
#[test]
fn mass_1_volumes_of_0600_are_the_ends_of_its_range() {
    for id in ["nmam-0600/nylon", "nmam-0600/hd", "nmam-0600/aluminium"] {
        let (least, most) = entry(id).values.range("mass").expect("a range");
        assert!(same(stated_mg(id, "volume-min"), 0.1) && same(least, 0.1));
        assert!(same(stated_mg(id, "volume-max"), 2.0) && same(most, 2.0));
    }
}

/// MASS-2, NMAM 0500: 7 L and 133 L at 15 mg/m3 are 0.105 and 1.995 mg.
#[test]
fn mass_2_volumes_of_0500() {
    assert!(same(stated_mg("nmam-0500", "volume-min"), 0.105));
    assert!(same(stated_mg("nmam-0500", "volume-max"), 1.995));
    assert_eq!(entry("nmam-0500").values.range("mass"), Some((0.105, 1.995)));
}

/// The masses at stated volumes of NMAM 0501, 6009 and 5700 lie within the stated ranges.
#[test]
fn stated_volumes_collect_masses_within_stated_ranges() {
    for (id, key, mg) in [
        ("nmam-0501", "volume-min", 0.255),
        ("nmam-0501", "volume-max", 4.995),
        ("nmam-6009", "volume-min", 0.001),
        ("nmam-5700", "volume-min", 0.000_48),
        ("nmam-7501/total", "volume-max", 2.0),
    ] {
        let found = stated_mg(id, key);
        assert!(same(found, mg), "{id} {key}: {found}");
        if let Some((least, most)) = entry(id).values.range("mass") {
            assert!((least..=most).contains(&found), "{id} {key}: {found}");
        }
    }
}

fn proposed(id: &str) -> Proposal {
    let values = entry(id).values;
    let wish = Wish {
        method_flow: values.range("flow"),
        volume_recommended_l: values.one("volume-recommended"),
        ..Wish::default()
    };
    match propose(&wish, None).expect("numbers") {
        Answer::Possible(proposal) => *proposal,
        Answer::Impossible(found) => panic!("{id}: {found:?}"),
    }
}

/// TIME-1 to TIME-5: time = volume / flow of OSHA 1008, 109, 69; and of ID-145.
#[test]
fn time_1_to_5_recommended_volumes_take_their_times() {
    for (id, flow, minutes, litres) in [
        ("osha-1008/twa", 0.05, 240.0, 12.0),
        ("osha-1008/ceiling", 0.5, 15.0, 7.5),
        ("osha-1008/peak", 0.5, 10.0, 5.0),
        ("osha-109", 0.2, 90.0, 18.0),
        ("osha-69", 0.05, 60.0, 3.0),
        ("osha-id-145", 2.0, 5.0, 10.0),
    ] {
        let p = proposed(id);
        assert!(same(p.flow_l_per_min, flow) && same(p.minutes, minutes), "{id}: {p:?}");
        assert!(same(p.volume_l, litres), "{id}: {p:?}");
        assert_eq!(entry(id).values.one("duration-recommended"), Some(minutes), "{id}");
    }
}

/// FIB-1, NMAM 7400 step 4: 385 mm2, 100 and 1300 fibres/mm2, 2 L/min, 0.1 fibre/mL: 192.5 and 2502.5 min.
#[test]
fn fib_1_times_of_a_fibre_count() {
    let values = entry("nmam-7400/shift").values;
    let fibres = Fibres {
        level_f_ml: 0.1,
        area_mm2: values.one("area").expect("an area"),
        density_f_mm2: values.range("density").expect("a range"),
    };
    for (flow, least, most) in
        [(1.0, 385.0, 5_005.0), (2.0, 192.5, 2_502.5), (4.0, 96.25, 1_251.25)]
    {
        let found = fibres.minutes(flow);
        assert!(same(found.0, least) && same(found.1, most), "{flow}: {found:?}");
    }
    let half = Fibres { level_f_ml: 0.05, ..fibres };
    assert!(same(half.minutes(2.0).0, 385.0) && same(half.minutes(2.0).1, 5_005.0));
    // The same through a proposal: at 2 L/min, so long at least and at most.
    let wish = Wish {
        method_flow: Some((2.0, 2.0)),
        fibres: Some(fibres),
        time_min: 5_000.0,
        ..Wish::default()
    };
    let Answer::Possible(p) = propose(&wish, None).expect("numbers") else { panic!("possible") };
    assert!(same(p.minutes_between.0, 192.5) && same(p.minutes_between.1, 2_502.5));
}

/// L-FLOW: 16.67 L/min within 5 % is 15.8365 to 17.5035; the elapsed time of App. L and B is 1380 to 1500 min.
#[test]
fn flow_and_time_of_the_reference_methods() {
    let l = entry("epa-app-l").values;
    let (least, most) = l.range("flow").expect("a range");
    assert!(same(least, 16.67 * 0.95) && same(most, 16.67 * 1.05));
    assert_eq!(l.one("nominal-flow"), Some(16.67));
    for id in ["epa-app-l", "epa-app-j", "epa-app-b"] {
        assert_eq!(entry(id).values.range("duration"), Some((1_380.0, 1_500.0)), "{id}");
    }
    let cotton = entry("osha-1910-1043").values;
    assert_eq!(cotton.range("flow"), Some((7.2, 7.6)));
    assert_eq!(cotton.one("duration-recommended"), Some(360.0));
}

/// The cyclones of NMAM 0600: one flow each.
#[test]
fn each_cyclone_has_its_flow() {
    for (id, flow) in
        [("nmam-0600/nylon", 1.7), ("nmam-0600/hd", 2.2), ("nmam-0600/aluminium", 2.5)]
    {
        assert_eq!(entry(id).values.range("flow"), Some((flow, flow)), "{id}");
    }
}

/// Every value and every note names its source; what is recalled names itself so, and there is little of it.
#[test]
fn every_value_has_a_source() {
    let mut remembered = BTreeSet::new();
    let mut values = 0;
    for method in Library::default().methods() {
        for entry in method.entries() {
            for value in &entry.values.0 {
                values += 1;
                assert!(value.from.trim().len() > 8, "{} {}", entry.id, value.key);
                match value.tag {
                    How::Memory => {
                        remembered.insert(format!("{} {}", entry.id, value.key));
                    }
                    How::Seen => assert!(
                        value.from.contains("CFR") || value.from.contains("OSHA method"),
                        "{} {}: seen in {}",
                        entry.id,
                        value.key,
                        value.from
                    ),
                    How::SeenCopy => {
                        assert!(value.from.starts_with("NMAM"), "{} {}", entry.id, value.key);
                    }
                    How::Computed => {}
                    other => panic!("{}: {} is no tag of a method", entry.id, other.code()),
                }
            }
        }
        for note in &method.notes {
            assert!(!note.from.trim().is_empty(), "{}: {}", method.id, note.says);
        }
    }
    assert!(values > 100, "{values} values");
    assert_eq!(remembered, BTreeSet::from(["nmam-0500 lod".to_owned()]));
}

/// The methods are those whose figures were read, and no others.
#[test]
fn only_what_was_read_is_in_the_library() {
    let ids: Vec<String> = Library::default().methods().iter().map(|m| m.id.clone()).collect();
    let nmam = [
        "0500", "0501", "0600", "1300", "1301", "1405", "2549", "5700", "6009", "7300", "7303",
        "7400", "7501", "7601",
    ];
    let mut wanted: Vec<String> = nmam.iter().map(|n| format!("nmam-{n}")).collect();
    wanted.extend(["b", "j", "l"].map(|a| format!("epa-app-{a}")));
    let osha = ["1008", "109", "1910-1043", "69", "id-145", "id-160"];
    wanted.extend(osha.map(|n| format!("osha-{n}")));
    wanted.sort();
    assert_eq!(ids, wanted);
    // Their tables were not seen.
    for id in ["nmam-7300", "nmam-7303"] {
        let values = entry(id).values;
        assert!(values.any("volume-min").is_none() && values.any("volume-max").is_none());
    }
}

/// What a file of one's own says against itself is told, with where.
#[test]
fn values_that_contradict_each_other_are_told() {
    let head = "id = \"own\"\ntitle = \"own\"\nissuer = \"us\"\nmeasures = \"dust\"\n";
    let value = |key: &str, is: &str| {
        let at = if let Some((is, at)) = is.split_once('@') {
            format!("{is}, at = \"{at}\"")
        } else {
            is.to_owned()
        };
        format!("{key} = {{ is = {at}, from = \"our sheet\", tag = \"seen\" }}\n")
    };
    let told = |values: &[(&str, &str)]| -> Vec<String> {
        let mut text = head.to_owned();
        text.extend(values.iter().map(|(key, is)| value(key, is)));
        match draught_sim::methods::read(&Source::new("own.toml", text)) {
            Ok(_) => Vec::new(),
            Err(found) => {
                found.sorted().iter().map(|f| format!("{}: {}", f.code, f.message)).collect()
            }
        }
    };
    for (values, words) in [
        (
            [("volume-min", "\"100 L\""), ("volume-max", "\"10 L\"")],
            "the least volume, 100 L, is above the most, 10 L",
        ),
        // 100 L at 5 mg/m3 are 0.5 mg, 20 L at 15 mg/m3 are 0.3.
        (
            [("volume-min", "\"100 L\"@5 mg/m3"), ("volume-max", "\"20 L\"@15 mg/m3")],
            "the least volume, 100 L, is above the most, 20 L",
        ),
        (
            [("flow", "[\"1 L/min\", \"2 L/min\"]"), ("nominal-flow", "\"9 L/min\"")],
            "the nominal flow, 9.0 L/min, is outside",
        ),
        (
            [("duration", "[\"1 h\", \"8 h\"]"), ("duration-recommended", "\"9 h\"")],
            "the recommended duration, 9 h, is outside",
        ),
        (
            [("volume-max", "\"10 L\""), ("volume-recommended", "\"12 L\"")],
            "the recommended volume, 12 L, is outside of volume-max, 10 L",
        ),
        (
            [("lod", "\"1 mg\""), ("mass", "[\"0.1 mg\", \"0.5 mg\"]")],
            "the LOD is 1 mg, and the range of mass begins at 0.1 mg",
        ),
        (
            [("loq", "\"1 mg\""), ("mass", "[\"0.1 mg\", \"0.5 mg\"]")],
            "the LOQ is 1 mg, and the range of mass ends at 0.5 mg",
        ),
        ([("lod", "\"2 mg\""), ("loq", "\"1 mg\"")], "the LOD is 2 mg, and the LOQ is 1 mg"),
        (
            [("conditions", "\"whatever\""), ("lod", "\"1 mg\"")],
            "\"whatever\" does not say at which conditions",
        ),
    ] {
        let found = told(&values);
        assert_eq!(found.len(), 1, "{values:?}: {found:?}");
        assert!(found[0].starts_with("values-contradict: "), "{found:?}");
        assert!(found[0].contains(words), "{found:?}");
    }
    // 10 L at 15 mg/m3 are less than 20 L at 5: 0.15 against 0.1 mg, and the volumes alone say nothing.
    for fine in [
        [("volume-min", "\"20 L\"@5 mg/m3"), ("volume-max", "\"10 L\"@15 mg/m3")],
        [("volume-min", "\"20 L\"@5 mg/m3"), ("volume-max", "\"10 L\"")],
        [("conditions", "\"standard, 20 C\""), ("lod", "\"1 mg\"")],
        [("conditions", "\"actual\""), ("lod", "\"1 mg\"")],
    ] {
        assert!(told(&fine).is_empty(), "{fine:?}: {:?}", told(&fine));
    }
}

/// PM10 and TSP are reported at standard conditions, PM2.5 at actual ones: 40 CFR 50 App. J 11.1, App. B 10.4, App. L 12.1.
#[test]
fn conditions_are_one_of_two() {
    for (id, wanted) in [
        ("epa-app-b", ReportedAt::Standard),
        ("epa-app-j", ReportedAt::Standard),
        ("epa-app-l", ReportedAt::Actual),
    ] {
        let found = entry(id).values.get("conditions").and_then(|v| v.conditions());
        assert_eq!(found, Some(wanted), "{id}");
    }
}
