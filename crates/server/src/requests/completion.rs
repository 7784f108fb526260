//! `textDocument/completion`, `completionItem/resolve`, `textDocument/signatureHelp`

use std::sync::Arc;

use ide::{Item, ItemKind};
use serde_json::json;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{markup, remembered, ruler, seen, work};
use crate::desk::{Desk, name_of};
use crate::positions::Ruler;

/// What brings a menu up while one writes: a path's dash, a device's colon, the next clause, a function, a block's inside.
pub(crate) const TRIGGERS: [&str; 6] = ["-", ":", ",", "(", ".", " "];

pub(crate) async fn completion(
    desk: &Arc<Desk>,
    parameters: CompletionParams,
) -> Result<Option<CompletionResponse>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position;
    let Some(view) = seen().view(&name_of(&text_document.uri)).cloned() else {
        return Ok(None);
    };
    let blank = parameters
        .context
        .is_some_and(|it| it.trigger_character.as_deref() == Some(" "));
    let shared = desk.clone();
    work(move |_| {
        let ruler = ruler(&view, shared.offers().encoding);
        let offset = ruler.offset(position);
        // At the beginning of a line a blank is only indentation.
        let line = &view.text()[..offset as usize];
        let line = line.rsplit(['\n', '\r']).next().unwrap_or_default();
        if blank && line.trim().is_empty() {
            return None;
        }
        let found = ide::completion(&view, offset)?;
        let data =
            json!({"uri": text_document.uri, "version": view.document().version, "offset": offset});
        let items = found.items.iter().zip(0..).map(|(it, rank)| {
            let mut item = item(&shared, &ruler, it, rank);
            item.data = Some(data.clone());
            item
        });
        Some(CompletionResponse::List(CompletionList {
            is_incomplete: found.more,
            items: items.collect(),
        }))
    })
    .await
}

/// Adds an item's description. One that is not known goes back as it is.
pub(crate) async fn resolve(desk: &Arc<Desk>, mut item: CompletionItem) -> Result<CompletionItem> {
    let Some((view, offset)) = remembered(item.data.as_ref()) else {
        return Ok(item);
    };
    let label = item.label.clone();
    let markdown = desk.offers().completion_markdown;
    let told = work(move |_| {
        let told = ide::describe(&view, offset, &label)?;
        Some(Documentation::MarkupContent(markup(&told, markdown)))
    });
    item.documentation = told.await?;
    Ok(item)
}

fn item(desk: &Desk, ruler: &Ruler, it: &Item, rank: u32) -> CompletionItem {
    let offers = desk.offers();
    let snippet = it.snippet.as_ref().filter(|_| offers.snippets);
    let text = snippet.unwrap_or(&it.text).clone();
    let insert = ruler.range(it.insert);
    let edit = match offers.insert_replace && it.insert != it.replace {
        true => CompletionTextEdit::InsertAndReplace(InsertReplaceEdit {
            new_text: text,
            insert,
            replace: ruler.range(it.replace),
        }),
        false => CompletionTextEdit::Edit(TextEdit {
            range: insert,
            new_text: text,
        }),
    };
    CompletionItem {
        label: it.label.clone(),
        kind: Some(kind(it.kind)),
        detail: Some(it.detail.clone()).filter(|it| !it.is_empty()),
        sort_text: Some(format!("{rank:05}")),
        filter_text: Some(it.text.trim().to_string()).filter(|text| *text != it.label),
        insert_text_format: snippet.map(|_| InsertTextFormat::SNIPPET),
        text_edit: Some(edit),
        ..CompletionItem::default()
    }
}

fn kind(kind: ItemKind) -> CompletionItemKind {
    match kind {
        ItemKind::Word => CompletionItemKind::KEYWORD,
        ItemKind::Node => CompletionItemKind::VARIABLE,
        ItemKind::Element => CompletionItemKind::PROPERTY,
        ItemKind::Source => CompletionItemKind::EVENT,
        ItemKind::Opamp => CompletionItemKind::CLASS,
        ItemKind::Device => CompletionItemKind::FIELD,
        ItemKind::Let => CompletionItemKind::CONSTANT,
        ItemKind::Part => CompletionItemKind::STRUCT,
        ItemKind::Block | ItemKind::Function => CompletionItemKind::FUNCTION,
        ItemKind::Circuit => CompletionItemKind::MODULE,
        ItemKind::Unit => CompletionItemKind::UNIT,
        ItemKind::Value => CompletionItemKind::VALUE,
        ItemKind::Rule => CompletionItemKind::ENUM_MEMBER,
        ItemKind::File => CompletionItemKind::FILE,
    }
}

pub(crate) async fn signature_help(
    desk: &Arc<Desk>,
    parameters: SignatureHelpParams,
) -> Result<Option<SignatureHelp>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position_params;
    let Some(view) = seen().view(&name_of(&text_document.uri)).cloned() else {
        return Ok(None);
    };
    let shared = desk.clone();
    work(move |_| {
        let offers = shared.offers();
        let found = ide::signature(&view, ruler(&view, offers.encoding).offset(position))?;
        let active = found.active.map(|it| it as u32);
        let parameters = found.parameters.iter().map(|it| ParameterInformation {
            label: match offers.label_offsets {
                // These are counted in UTF-16 whatever positions are counted in.
                true => ParameterLabel::LabelOffsets(
                    [it.span.start, it.span.end]
                        .map(|end| found.label[..end as usize].encode_utf16().count() as u32),
                ),
                false => ParameterLabel::Simple(it.span.of(&found.label).to_string()),
            },
            documentation: Some(Documentation::String(it.meaning.clone())),
        });
        let signature = SignatureInformation {
            label: found.label.clone(),
            documentation: Some(Documentation::String(found.meaning.clone())),
            parameters: Some(parameters.collect()),
            active_parameter: active.filter(|_| offers.active_parameter),
        };
        Some(SignatureHelp {
            signatures: vec![signature],
            active_signature: Some(0),
            active_parameter: active,
        })
    })
    .await
}
