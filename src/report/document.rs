//! A write-up as plain content: what it says, in order, without any format.
//!
//! [`super::html`] and [`super::markdown`] write the same document, so that no format says more than another.

use super::explorer::Explorer;
use super::figure::Figure;
use super::tables::Table;

/// A whole write-up.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Document {
    /// The title.
    pub title: String,
    /// The answer in a few sentences, before anything else.
    pub lead: Vec<String>,
    /// The sections, in order.
    pub sections: Vec<Section>,
    /// What stands at the very end: what made it, from which files, and what it is not.
    pub foot: Vec<String>,
    /// Whether tables sort and copy and explorers answer where scripts may run; a sheet to be printed does without.
    pub interactive: bool,
}

/// One section.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Section {
    /// Its heading.
    pub title: String,
    /// What it holds.
    pub blocks: Vec<Block>,
}

/// One piece of a section. All text is plain: nothing in it acts as markup.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// A paragraph.
    Text(String),
    /// A heading below the section's own.
    Heading(String),
    /// What a section finds, in a sentence that may be quoted alone.
    Finding(String),
    /// A list in no order.
    List(Vec<String>),
    /// Terms or quantities, each with what it means or is.
    Terms(Vec<(String, String)>),
    /// What can hurt people or equipment.
    Caution(Vec<String>),
    /// Something to be copied letter by letter, such as an equation.
    Code(String),
    /// A table.
    Table(Table),
    /// A figure.
    Figure(Box<Figure>),
    /// A form that answers in the page; elsewhere its table.
    Explorer(Box<Explorer>),
}

impl Document {
    /// Every figure, in order.
    pub fn figures(&self) -> impl Iterator<Item = &Figure> {
        self.sections
            .iter()
            .flat_map(|section| &section.blocks)
            .filter_map(|block| match block {
                Block::Figure(figure) => Some(&**figure),
                _ => None,
            })
    }

    /// Every table, in order.
    pub fn tables(&self) -> impl Iterator<Item = &Table> {
        self.sections
            .iter()
            .flat_map(|section| &section.blocks)
            .filter_map(|block| match block {
                Block::Table(table) => Some(table),
                Block::Explorer(explorer) => Some(&explorer.table),
                _ => None,
            })
    }
}

impl Section {
    /// A section without content yet.
    pub fn new(title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            blocks: Vec::new(),
        }
    }

    /// Adds a piece.
    pub fn with(mut self, block: Block) -> Self {
        self.blocks.push(block);
        self
    }
}
