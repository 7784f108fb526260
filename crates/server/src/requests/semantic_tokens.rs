//! `textDocument/semanticTokens/full`, `…/full/delta`, `…/range`

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use ide::{Token, TokenKind};
use syntax::Span;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{near, ruler};
use crate::desk::{Desk, name_of};
use crate::positions::Ruler;

/// The tokens that were sent last of each text, for the next difference.
#[derive(Default)]
pub(crate) struct SentTokens(Mutex<HashMap<String, (u64, Vec<SemanticToken>)>>);

/// What the numbers in the tokens mean.
pub(crate) fn legend() -> SemanticTokensLegend {
    SemanticTokensLegend {
        token_types: TokenKind::ALL.iter().map(|it| name(*it)).collect(),
        token_modifiers: vec![
            SemanticTokenModifier::DECLARATION,
            SemanticTokenModifier::READONLY,
            SemanticTokenModifier::DEFAULT_LIBRARY,
            SemanticTokenModifier::DOCUMENTATION,
        ],
    }
}

fn name(kind: TokenKind) -> SemanticTokenType {
    match kind {
        TokenKind::Namespace => SemanticTokenType::NAMESPACE,
        TokenKind::Type => SemanticTokenType::TYPE,
        TokenKind::Class => SemanticTokenType::CLASS,
        TokenKind::Function => SemanticTokenType::FUNCTION,
        TokenKind::Parameter => SemanticTokenType::PARAMETER,
        TokenKind::Variable => SemanticTokenType::VARIABLE,
        TokenKind::Property => SemanticTokenType::PROPERTY,
        TokenKind::EnumMember => SemanticTokenType::ENUM_MEMBER,
        TokenKind::Event => SemanticTokenType::EVENT,
        TokenKind::Keyword => SemanticTokenType::KEYWORD,
        TokenKind::String => SemanticTokenType::STRING,
        TokenKind::Number => SemanticTokenType::NUMBER,
        TokenKind::Comment => SemanticTokenType::COMMENT,
        TokenKind::Operator => SemanticTokenType::OPERATOR,
    }
}

pub(crate) async fn full(
    desk: &Arc<Desk>,
    parameters: SemanticTokensParams,
) -> Result<Option<SemanticTokensResult>> {
    let uri = parameters.text_document.uri;
    let Some(data) = read(desk, &uri, None).await? else {
        return Ok(None);
    };
    let (id, _) = desk.tokens.keep(&name_of(&uri), data.clone(), None);
    Ok(Some(SemanticTokensResult::Tokens(SemanticTokens {
        result_id: Some(id),
        data,
    })))
}

pub(crate) async fn delta(
    desk: &Arc<Desk>,
    parameters: SemanticTokensDeltaParams,
) -> Result<Option<SemanticTokensFullDeltaResult>> {
    let uri = parameters.text_document.uri;
    let Some(data) = read(desk, &uri, None).await? else {
        return Ok(None);
    };
    let known = Some(parameters.previous_result_id);
    let (id, edits) = desk.tokens.keep(&name_of(&uri), data.clone(), known);
    Ok(Some(match edits {
        Some(edits) => SemanticTokensFullDeltaResult::TokensDelta(SemanticTokensDelta {
            result_id: Some(id),
            edits,
        }),
        None => SemanticTokensFullDeltaResult::Tokens(SemanticTokens {
            result_id: Some(id),
            data,
        }),
    }))
}

pub(crate) async fn range(
    desk: &Arc<Desk>,
    parameters: SemanticTokensRangeParams,
) -> Result<Option<SemanticTokensRangeResult>> {
    let data = read(desk, &parameters.text_document.uri, Some(parameters.range)).await?;
    Ok(data.map(|data| {
        SemanticTokensRangeResult::Tokens(SemanticTokens {
            result_id: None,
            data,
        })
    }))
}

async fn read(
    desk: &Arc<Desk>,
    uri: &Url,
    range: Option<Range>,
) -> Result<Option<Vec<SemanticToken>>> {
    let encoding = desk.offers().encoding;
    near(uri, move |view| {
        let ruler = ruler(view, encoding);
        let within = range.map_or(Span::new(0, view.text().len()), |it| ruler.span(it));
        Some(encoded(&ruler, &ide::tokens(view, within)))
    })
    .await
}

/// Each token counted from the one before it.
fn encoded(ruler: &Ruler, tokens: &[Token]) -> Vec<SemanticToken> {
    let mut last = Position::default();
    let numbered = tokens.iter().map(|it| {
        let range = ruler.range(it.span);
        let delta_line = range.start.line - last.line;
        let delta_start = match delta_line {
            0 => range.start.character - last.character,
            _ => range.start.character,
        };
        last = range.start;
        let bits = [it.declaration, it.readonly, it.built_in, it.documentation];
        let kind = TokenKind::ALL.iter().position(|kind| *kind == it.kind);
        SemanticToken {
            delta_line,
            delta_start,
            length: range.end.character - range.start.character,
            token_type: kind.unwrap_or(0) as u32,
            token_modifiers_bitset: (0..).zip(bits).map(|(at, set)| u32::from(set) << at).sum(),
        }
    });
    numbered.collect()
}

impl SentTokens {
    /// Keeps what is sent; gives its name, and what differs from the tokens of that name where they are known.
    fn keep(
        &self,
        file: &str,
        data: Vec<SemanticToken>,
        before: Option<String>,
    ) -> (String, Option<Vec<SemanticTokensEdit>>) {
        let mut sent = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let last = sent.get(file);
        let number = last.map_or(1, |it| it.0 + 1);
        let known = last.filter(|it| before == Some(it.0.to_string()));
        let edits = known.map(|it| difference(&it.1, &data));
        sent.insert(file.to_string(), (number, data));
        (number.to_string(), edits)
    }

    /// Forgets what was sent of a text.
    pub(crate) fn forget(&self, file: &str) {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .remove(file);
    }
}

/// What stands between the common ends, as one edit; none where all is the same.
fn difference(old: &[SemanticToken], new: &[SemanticToken]) -> Vec<SemanticTokensEdit> {
    let head = old.iter().zip(new).take_while(|(a, b)| a == b).count();
    let (old, new) = (&old[head..], &new[head..]);
    let ends = old.iter().rev().zip(new.iter().rev());
    let tail = ends.take_while(|(a, b)| a == b).count();
    let (old, new) = (&old[..old.len() - tail], &new[..new.len() - tail]);
    if old.is_empty() && new.is_empty() {
        return Vec::new();
    }
    // Counted in numbers, of which a token has five.
    vec![SemanticTokensEdit {
        start: 5 * head as u32,
        delete_count: 5 * old.len() as u32,
        data: Some(new.to_vec()),
    }]
}
