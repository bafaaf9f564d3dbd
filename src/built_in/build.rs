//! Reads and checks the built-in rules while the program is built, with the
//! program's own reader, and packs them. A mistake in them fails the build.

// The rooms are used in part here, and whole in the program.
#![allow(dead_code, unused_imports, unreachable_pub)]

#[path = "../bench/mod.rs"]
mod bench;
#[path = "../index.rs"]
mod index;
#[path = "../rulebase/mod.rs"]
mod rulebase;
#[path = "../units/mod.rs"]
mod units;

use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("cargo::rerun-if-changed=rules");
    let rules = rulebase::Rules {
        paths: vec!["rules".into()],
        only_these: true,
    };
    let loaded = rules.load();
    for line in loaded.report(false).lines() {
        println!("cargo::error={line}");
    }
    let out = Path::new(&std::env::var("OUT_DIR")?).join("rules.bin");
    std::fs::write(out, loaded.rulebase.pack()?)?;
    Ok(())
}
