//! A page as Chromium shows it, without a window and without a network.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;

const CHECK: &str = include_str!("../../axe/check.js");
const PHONE: &str = include_str!("../../axe/phone.html");
const AXE: &str = "target/tools/axe-4.12.1/axe.min.js";
const FLAGS: [&str; 12] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--virtual-time-budget=30000",
];

/// How a page is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum View {
    /// 1280 wide, on a light ground.
    Desk,
    /// 1280 wide, on a dark ground.
    Dark,
    /// As wide as a phone, in a frame: a window of Chromium is never that narrow.
    Phone(u16),
}

pub(super) struct Browser {
    folder: TempDir,
}

impl Browser {
    /// Lays a copy of the page into a folder of its own, with axe-core before all else in its head: the page's policy
    /// then forbids everything that comes after.
    pub(super) fn new(page: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let axe = Path::new(env!("CARGO_MANIFEST_DIR")).join(AXE);
        let axe = std::fs::read_to_string(axe).expect("axe-core is not there: `bash tests/run` installs it");
        std::fs::write(folder.path().join("plain.html"), page).unwrap();
        let checked =
            page.replacen("<head>", &format!("<head><script>{axe}</script><script>{CHECK}</script>"), 1);
        assert_ne!(checked, page);
        std::fs::write(folder.path().join("page.html"), checked).unwrap();
        Self { folder }
    }

    fn run(&self, own: &[String], file: &Path) -> String {
        let profile = self.folder.path().join("profile");
        let output = Command::new("chromium")
            .args(FLAGS)
            .arg(format!("--user-data-dir={}", profile.display()))
            .args(own)
            .arg(format!("file://{}", file.display()))
            .output()
            .expect("Chromium is not there: `bash tests/run` installs it");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// What axe-core and the measurements say.
    pub(super) fn look(&self, view: View) -> Value {
        let mut file = self.folder.path().join("page.html");
        let mut own = vec!["--dump-dom".to_owned(), "--window-size=1280,900".to_owned()];
        match view {
            View::Desk => {}
            View::Dark => own.push("--blink-settings=preferredColorScheme=0".to_owned()),
            View::Phone(width) => {
                file = self.folder.path().join("phone.html");
                std::fs::write(&file, PHONE.replace("WIDTH", &width.to_string())).unwrap();
            }
        }
        let dom = self.run(&own, &file);
        let result = dom.split("<pre id=\"result\">").nth(1).expect("no result");
        serde_json::from_str(result.split("</pre>").next().unwrap()).unwrap()
    }

    /// The page as it comes out of a printer.
    pub(super) fn print(&self) -> Vec<u8> {
        let to: PathBuf = self.folder.path().join("printed.pdf");
        let own = ["--no-pdf-header-footer".to_owned(), format!("--print-to-pdf={}", to.display())];
        self.run(&own, &self.folder.path().join("plain.html"));
        std::fs::read(to).unwrap()
    }
}
