// Colours texts as VS Code does: from a JSON list of texts to a list of tokens each, `[start, end, scope]` in bytes.
// node tokenize.js NODE_MODULES GRAMMAR < texts
const fs = require('fs');
const path = require('path');
const [modules, grammarFile] = process.argv.slice(2);
const { Registry, INITIAL, parseRawGrammar } = require(path.join(modules, 'vscode-textmate'));
const oniguruma = require(path.join(modules, 'vscode-oniguruma'));

const bytes = text => Buffer.byteLength(text);

async function main() {
  await oniguruma.loadWASM(fs.readFileSync(path.join(modules, 'vscode-oniguruma/release/onig.wasm')));
  const registry = new Registry({
    onigLib: Promise.resolve({
      createOnigScanner: patterns => new oniguruma.OnigScanner(patterns),
      createOnigString: text => new oniguruma.OnigString(text),
    }),
    loadGrammar: async () => parseRawGrammar(fs.readFileSync(grammarFile, 'utf8'), grammarFile),
  });
  const grammar = await registry.loadGrammar('source.ampersum');
  const classed = text => {
    const found = [];
    let at = 0;
    let state = INITIAL;
    for (const line of text.split('\n')) {
      const content = line.replace(/\r$/, '');
      const { tokens, ruleStack } = grammar.tokenizeLine(content, state);
      for (const { startIndex, endIndex, scopes } of tokens) {
        const start = at + bytes(content.slice(0, startIndex));
        found.push([start, start + bytes(content.slice(startIndex, endIndex)), scopes[scopes.length - 1]]);
      }
      state = ruleStack;
      at += bytes(line) + 1;
    }
    return found;
  };
  const texts = JSON.parse(fs.readFileSync(0, 'utf8'));
  process.stdout.write(JSON.stringify(texts.map(classed)));
}

main().catch(trouble => {
  console.error(trouble);
  process.exit(1);
});
