//! What the terminal can show.

/// Which colours may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ColourUse {
    /// The sixteen colours of the terminal's own palette, on its own background.
    #[default]
    Full16,
    /// None (`NO_COLOR`): bold, reverse and underline only.
    None,
}

/// What the terminal can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Which colours may be used.
    pub colour: ColourUse,
    /// Whether it shows more than ASCII.
    pub unicode: bool,
}
