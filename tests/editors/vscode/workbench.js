// VS Code's real workbench in a browser without a window, with our extension installed, and a reader's eyes and hands.
// AMPERSUM_PROGRAM is the program, AMPERSUM_EDITOR `editors/vscode`, AMPERSUM_VSCODE the folder that `install` filled.
const { execFileSync, spawn } = require('child_process');
const fs = require('fs');
const path = require('path');

const place = process.env.AMPERSUM_VSCODE;
const { chromium } = require(path.join(place, 'node_modules/playwright-core'));

// What npm runs is run by this Node.js too.
process.env.PATH = `${path.dirname(process.execPath)}:${process.env.PATH}`;

/** Longer than anything takes on a busy machine, in ms. */
const PATIENCE = 60_000;

/** The browser, under one of its names. */
function browser() {
  for (const folder of process.env.PATH.split(':')) {
    for (const name of ['chromium', 'google-chrome']) {
      if (fs.existsSync(path.join(folder, name))) return path.join(folder, name);
    }
  }
  throw new Error('there is no chromium');
}

/** Packages the extension as its page has it, from a copy of the checkout's files. */
function packaged(work) {
  const from = process.env.AMPERSUM_EDITOR;
  const to = path.join(work, 'vscode');
  fs.cpSync(from, to, { recursive: true, filter: it => !/\/(node_modules|ampersum\.vsix)$/.test(it) });
  fs.cpSync(path.join(from, '../grammars/ampersum.tmLanguage.json'), path.join(work, 'grammars/ampersum.tmLanguage.json'));
  // Thousands of files: linked.
  execFileSync('cp', ['-al', path.join(place, 'extension/node_modules'), to]);
  execFileSync('npm', ['run', '--silent', 'package'], { cwd: to, stdio: ['ignore', 'ignore', 'inherit'] });
  return path.join(to, 'ampersum.vsix');
}

/** Starts the workbench on a folder; gives its page, and how to end it. */
exports.open = async (folder, { width, height, ...settings }) => {
  const work = fs.mkdtempSync(path.join(place, 'work-'));
  const machine = path.join(work, 'data/data/Machine');
  fs.mkdirSync(machine, { recursive: true });
  fs.writeFileSync(
    path.join(machine, 'settings.json'),
    JSON.stringify({ 'ampersumServer.command': process.env.AMPERSUM_PROGRAM, 'workbench.startupEditor': 'none', 'git.enabled': false, ...settings }),
  );
  // What the browser and npm leave behind stays out of the folder that is opened.
  process.env.HOME = work;

  let server, shown;
  const close = async () => {
    await shown?.close();
    if (server && server.exitCode === null) {
      server.kill();
      await new Promise(ended => server.on('exit', ended));
    }
    fs.rmSync(work, { recursive: true, force: true });
  };
  try {
    const serve = [path.join(place, 'code/out/server-main.js'), '--accept-server-license-terms'];
    serve.push('--extensions-dir', path.join(work, 'extensions'), '--server-data-dir', path.join(work, 'data'));
    execFileSync(process.execPath, [...serve, '--install-extension', packaged(work)], { stdio: 'ignore' });
    serve.push('--host', '127.0.0.1', '--port', '0', '--without-connection-token', '--disable-workspace-trust', '--disable-telemetry');
    server = spawn(process.execPath, serve, { stdio: ['ignore', 'pipe', 'inherit'] });
    const port = await new Promise((found, lost) => {
      server.stdout.on('data', words => {
        process.stderr.write(words);
        const told = /agent listening on (\d+)/.exec(words);
        if (told) found(told[1]);
      });
      server.on('exit', it => lost(new Error(`the workbench's server ended with ${it}`)));
    });
    shown = await chromium.launch({
      executablePath: browser(),
      args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
    });
    const page = await shown.newPage({ viewport: { width, height } });
    page.setDefaultTimeout(PATIENCE);
    await page.goto(`http://127.0.0.1:${port}/?folder=${folder}`, { waitUntil: 'commit' });
    return { page, close };
  } catch (trouble) {
    await close();
    throw trouble;
  }
};

/** Waits until this is true, and gives it. */
const wait = async (what, ready) => {
  for (const end = Date.now() + PATIENCE; Date.now() < end; await new Promise(it => setTimeout(it, 50))) {
    const it = await ready();
    if (it) return it;
  }
  throw new Error(`too long: ${what}`);
};
exports.wait = wait;

/** Opens a file by its name in the folder's tree. */
exports.openFile = async (page, name) => {
  await page.getByRole('treeitem', { name }).dblclick();
  await page.locator('.monaco-editor .view-line').first().waitFor();
};

/** What is on the screen of the editor: its lines from top to bottom, each letter with its box, and the squiggles' boxes. */
const screen = page =>
  page.evaluate(() => {
    const box = it => (({ left, right, top, bottom }) => ({ left, right, top, bottom }))(it.getBoundingClientRect());
    const editor = document.querySelector('.editor-group-container.active .monaco-editor');
    const lines = [...(editor?.querySelectorAll('.view-line') ?? [])].map(line => {
      const letters = [];
      const walker = document.createTreeWalker(line, NodeFilter.SHOW_TEXT);
      for (let text; (text = walker.nextNode()); ) {
        for (let at = 0; at < text.length; at++) {
          const range = document.createRange();
          range.setStart(text, at);
          range.setEnd(text, at + 1);
          letters.push({ colour: getComputedStyle(text.parentElement).color, ...box(range) });
        }
      }
      return { text: line.textContent.replace(/[\u00a0\u200a]/g, ' '), letters, ...box(line) };
    });
    lines.sort((a, b) => a.top - b.top);
    const squiggles = [...(editor?.querySelectorAll('.squiggly-error, .squiggly-warning') ?? [])].map(it => ({ kind: /squiggly-(\w+)/.exec(it.className)[1], ...box(it) }));
    return { lines, squiggles };
  });

/** The texts of the lines, hints among them. */
const lines = async page => (await screen(page)).lines.map(it => it.text);
exports.lines = lines;

/** Each squiggle as its kind and the letters above it. */
exports.squiggles = async page => {
  const { lines, squiggles } = await screen(page);
  const middle = it => (it.left + it.right) / 2;
  return squiggles.map(it => {
    const line = lines.find(line => Math.abs(line.top - it.top) < (line.bottom - line.top) / 2);
    const under = line?.letters.map((letter, at) => (middle(letter) > it.left && middle(letter) < it.right ? line.text[at] : ''));
    return `${it.kind} at ${under?.join('')}`;
  });
};

/** The first letter of the last such word in the first line that starts so. */
const letter = async (page, start, word) => {
  const line = (await screen(page)).lines.find(it => it.text.startsWith(start));
  const at = line ? line.text.lastIndexOf(word) : -1;
  if (at < 0) throw new Error(`\`${word}\` of \`${start} …\` is not on the screen`);
  return line.letters[at];
};

/** The colour of a word. */
exports.colour = async (page, start, word) => (await letter(page, start, word)).colour;

/** Puts the caret at a place of the text, which counts from 1. */
exports.go = async (page, line, column) => {
  await page.keyboard.press('Control+g');
  const input = page.locator('.quick-input-widget input[type=text]');
  await input.waitFor();
  await input.fill(`:${line}:${column}`);
  await page.keyboard.press('Enter');
  await input.waitFor({ state: 'hidden' });
};

/** Runs a command by its title. */
exports.command = async (page, title) => {
  await page.keyboard.press('F1');
  const input = page.locator('.quick-input-widget input[type=text]');
  await input.waitFor();
  await input.fill(`>${title}`);
  await page.locator('.quick-input-list .monaco-list-row.focused', { hasText: title }).waitFor();
  await page.keyboard.press('Enter');
  await input.waitFor({ state: 'hidden' });
};

/** Points at a word until its hover says this, and gives all that it says. */
exports.hover = async (page, start, word, said) => {
  const hover = page.locator('.monaco-editor .monaco-hover:not(.hidden)', { hasText: said }).first();
  return wait(`the hover at ${word}`, async () => {
    const { left, right, top, bottom } = await letter(page, start, word);
    await page.mouse.move(left + 300, bottom + 200);
    await page.mouse.move((left + right) / 2, (top + bottom) / 2, { steps: 2 });
    await hover.waitFor({ timeout: 3_000 }).catch(() => {});
    return (await hover.isVisible()) && hover.innerText();
  });
};

/** Goes down a menu to the entry with this title, and takes it. */
const take = async (page, menu, title) => {
  const rows = page.locator(`${menu} .monaco-list-row`);
  await rows.filter({ hasText: title }).first().waitFor();
  const there = await rows.allInnerTexts();
  for (let tries = 0; tries < 50; tries++) {
    if (await page.locator(`${menu} .monaco-list-row.focused`, { hasText: title }).count()) {
      await page.keyboard.press('Enter');
      await page.locator(menu).first().waitFor({ state: 'hidden' });
      return there;
    }
    await page.keyboard.press('ArrowDown');
    await page.waitForTimeout(50);
  }
  throw new Error(`\`${title}\` could not be reached in ${there.join(', ')}`);
};

/** Takes a code action at the caret, by keys; gives the whole menu. */
exports.act = async (page, title) => {
  await page.keyboard.press('Control+.');
  return take(page, '.action-widget', title);
};

/** Lets a word be completed at the caret, by keys; gives the whole menu. */
exports.complete = async (page, word) => {
  await page.keyboard.press('Control+Space');
  return take(page, '.suggest-widget.visible', word);
};
