//! A line above each circuit: how many equations it has.

use syntax::{FileId, Span};
use teaching::explain;

use crate::View;

/// A line above a circuit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Lens {
    /// The circuit's name in the text.
    pub span: Span,
    /// The circuit's name.
    pub circuit: String,
}

/// Where lines belong; what they say is worked out when it is seen.
pub fn lenses(view: &View) -> Vec<Lens> {
    if !view.settings().lens {
        return Vec::new();
    }
    let own = view
        .book()
        .circuits
        .iter()
        .filter(|it| it.place.file == FileId(0));
    own.map(|it| Lens {
        span: it.place.span,
        circuit: it.name.clone(),
    })
    .collect()
}

/// What a circuit's line says: `3 unknown node voltages, 3 equations · explain`.
pub fn lens_title(view: &View, circuit: &str) -> Option<String> {
    let index = view
        .book()
        .circuits
        .iter()
        .position(|it| it.name == circuit)?;
    let count = explain::count(&view.studies()[index].equations);
    Some(format!("{count} · explain"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marked::{open, open_in};
    use crate::{EditorSettings, Workspace};

    #[test]
    fn each_circuit_has_its_line_unless_the_settings_say_otherwise() {
        let text = "circuit «one»\nsource s: a = 1 V\na -- R1 1k -- b\nb -- R2 1k -- ground\ncircuit «two»\n";
        let (view, spans) = open(text);
        let found = lenses(&view);
        assert_eq!(found.iter().map(|it| it.span).collect::<Vec<_>>(), spans);
        assert_eq!(
            lens_title(&view, "one").as_deref(),
            Some("2 unknown node voltages, 2 equations · explain")
        );
        let mut workspace = Workspace::default();
        workspace.set_settings(EditorSettings {
            toml: "[writing]\nlens = \"off\"\n".into(),
        });
        let (view, _) = open_in(&mut workspace, "bed.amp", text);
        assert_eq!(lenses(&view), []);
    }
}
