//! PDFs as poppler's programs see them. Every call fails on a word on stderr.

use std::path::PathBuf;
use std::process::Command;

use image::GrayImage;
use tempfile::TempDir;

pub(super) struct Pdf {
    folder: TempDir,
}

/// A word on a page and its box, mm from the top left corner.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Word {
    pub(super) page: usize,
    pub(super) left_mm: f32,
    pub(super) top_mm: f32,
    pub(super) right_mm: f32,
    pub(super) bottom_mm: f32,
    pub(super) text: String,
}

impl Pdf {
    pub(super) fn new(bytes: &[u8]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("paper.pdf"), bytes).unwrap();
        Self { folder }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("paper.pdf")
    }

    fn run(&self, program: &str, before: &[&str], after: &[&str]) -> String {
        let output = Command::new(program).args(before).arg(self.path()).args(after).output().unwrap();
        let complaint = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success() && complaint.is_empty(), "{program}: {complaint}");
        String::from_utf8(output.stdout).unwrap()
    }

    /// The number of pages and the page size of the first, pt, by `pdfinfo`.
    pub(super) fn info(&self) -> (usize, f32, f32) {
        let info = self.run("pdfinfo", &[], &[]);
        let field = |name: &str| {
            info.lines()
                .find_map(|line| line.strip_prefix(name))
                .unwrap()
                .trim_start_matches(':')
                .trim()
                .to_owned()
        };
        let size = field("Page size");
        let mut numbers = size.split(' ').filter_map(|part| part.parse::<f32>().ok());
        (field("Pages").parse().unwrap(), numbers.next().unwrap(), numbers.next().unwrap())
    }

    /// The text in the order of drawing, page by page.
    pub(super) fn pages(&self) -> Vec<String> {
        let text = self.run("pdftotext", &["-raw"], &["-"]);
        let mut pages: Vec<String> = text.split('\u{c}').map(str::to_owned).collect();
        assert_eq!(pages.pop().as_deref(), Some(""));
        pages
    }

    pub(super) fn words(&self) -> Vec<Word> {
        let page = std::cell::Cell::new(0);
        let bbox = self.run("pdftotext", &["-bbox"], &["-"]);
        bbox.lines()
            .filter_map(|line| {
                page.set(page.get() + usize::from(line.trim_start().starts_with("<page ")));
                let (head, text) = line.trim().strip_prefix("<word ")?.split_once('>')?;
                let numbers: Vec<f32> = head
                    .split('"')
                    .filter_map(|part| part.parse::<f32>().ok())
                    .map(|pt| pt / 72.0 * 25.4)
                    .collect();
                let text = text.strip_suffix("</word>")?.replace("&amp;", "&").replace("&lt;", "<");
                let [left_mm, top_mm, right_mm, bottom_mm] = numbers[..] else { return None };
                Some(Word { page: page.get() - 1, left_mm, top_mm, right_mm, bottom_mm, text })
            })
            .collect()
    }

    /// Every page as a grey picture.
    pub(super) fn pictures(&self, dpi: u32) -> Vec<GrayImage> {
        self.pictures_by("pdftoppm", dpi)
    }

    /// Every page as a grey picture, drawn by another library, which moves no edge to a dot's.
    pub(super) fn cairo_pictures(&self, dpi: u32) -> Vec<GrayImage> {
        self.pictures_by("pdftocairo", dpi)
    }

    fn pictures_by(&self, program: &str, dpi: u32) -> Vec<GrayImage> {
        let stem = self.folder.path().join("page");
        let stem = stem.to_str().unwrap();
        self.run(program, &["-gray", "-png", "-r", &dpi.to_string()], &[stem]);
        let mut files: Vec<PathBuf> = std::fs::read_dir(self.folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|extension| extension == "png"))
            .collect();
        files.sort();
        let pictures = files.iter().map(|file| image::open(file).unwrap().into_luma8()).collect();
        for file in files {
            std::fs::remove_file(file).unwrap();
        }
        pictures
    }
}
