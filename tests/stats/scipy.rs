//! Chances of sampling and of gauge studies beside scipy, in the same run.

use std::process::Command;

use packmuster::stats::control::laws;
use packmuster::stats::sampling::chances::{at_most, binomial, hypergeometric};
use packmuster::stats::sampling::variables::Variables;

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/stats/beside_scipy.py");

/// The value of a line that scipy's script prints, by ours.
fn ours(words: &[&str]) -> f64 {
    let number = |place: usize| words[place].parse::<f64>().unwrap();
    let whole = |place: usize| words[place].parse::<u32>().unwrap();
    match words[0] {
        "hypergeometric" => at_most(&hypergeometric(whole(1), whole(2), whole(3)), whole(4)),
        "binomial" => at_most(&binomial(whole(1), number(2)), whole(3)),
        "f" => laws::f_above(number(1), number(2), number(3)),
        "t" => laws::t_beyond(number(1), number(2)),
        "k" => Variables { sample: whole(2), k: number(1) }.accepts_share(number(3)),
        other => panic!("scipy's script says `{other}`"),
    }
}

#[test]
fn chances_are_those_of_scipy() {
    // Debian's own Python has Debian's scipy, whatever else is on the path.
    let python = ["/usr/bin/python3", "python3"].into_iter().find(|python| {
        Command::new(python).args(["-c", "import scipy"]).output().is_ok_and(|run| run.status.success())
    });
    let python = python.expect("a Python with scipy: bash tests/run installs it");
    let run = Command::new(python).arg(SCRIPT).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let told = String::from_utf8(run.stdout).unwrap();
    let mut lines = 0;
    for line in told.lines() {
        let (name, value) = line.rsplit_once(' ').unwrap();
        let words: Vec<&str> = name.split(' ').collect();
        let (ours, theirs) = (ours(&words), value.parse::<f64>().unwrap());
        // The noncentral law is an integral by steps on our side.
        let tolerance = if words[0] == "k" { 1e-8 } else { 1e-11 };
        assert!(
            (ours - theirs).abs() <= tolerance + 1e-9 * theirs.abs(),
            "{name}: {ours}, scipy says {theirs}"
        );
        lines += 1;
    }
    assert_eq!(lines, 15 + 12 + 3 + 3 + 3);
}
