// Drives VS Code as a user would, with pointer and keys; prints what is seen, one line a thing.
// node drive.js, with AMPERSUM_FILE, AMPERSUM_FIX and what workbench.js needs
const fs = require('fs');
const path = require('path');
const see = require('./workbench.js');

const say = (what, words) => console.log(`${what}: ${String(words).trim().replace(/\s*\n\s*/g, '⏎')}`);
const file = process.env.AMPERSUM_FILE;
const { wait } = see;

async function drive(page) {
  await see.openFile(page, path.basename(file));
  await wait('squiggles', async () => (await see.squiggles(page)).length > 0);
  for (const it of await see.squiggles(page)) say('squiggle', it);
  say('language', await page.locator('#status\\.editor\\.mode').innerText());
  await page.keyboard.press('Control+Shift+m');
  const problem = page.locator('.markers-panel .monaco-list-row .marker-icon').first();
  await problem.waitFor();
  for (const it of await page.locator('.markers-panel .monaco-list-row', { has: page.locator('.marker-icon') }).allInnerTexts()) say('problem', it);
  await page.keyboard.press('Control+Shift+m');
  await problem.waitFor({ state: 'hidden' });

  await wait('hints', async () => (await see.lines(page)).some(it => it.includes('= −3.96 V')));
  say('lens', await page.locator('.codelens-decoration').first().innerText());
  say('path', (await see.lines(page)).find(it => it.startsWith('in')));
  say('hover', await see.hover(page, 'opamp', 'out', 'V'));

  // Known names in colours of their own, where the grammar's are one.
  const colours = () => Promise.all(['sum', 'R1', 'A1'].map(it => see.colour(page, it === 'A1' ? 'opamp' : 'in', it)));
  await wait('colours', async () => new Set(await colours()).size === 3);
  say('colours of a node, an element, an op-amp', new Set(await colours()).size);

  // The explanation of the equation at `sum`, on a page of its own.
  await see.go(page, 4, 17);
  await see.act(page, 'Explain the equation at `sum`');
  await page.locator('.tab', { hasText: /explain-\w+\.md/ }).waitFor();
  await wait('the explanation', async () => (await see.lines(page)).some(it => it.includes('Ohm')));
  say('explanation', (await see.lines(page)).join(' '));
  await page.locator('.tab', { hasText: path.basename(file) }).click();
  await wait('the file again', async () => (await see.lines(page)).some(it => it.startsWith('out -- RS')));

  // The fix at the finding.
  await see.go(page, 6, 31);
  say('menu', await see.act(page, process.env.AMPERSUM_FIX));
  await wait('the end of findings', async () => (await see.squiggles(page)).length === 0);
  say('findings left', (await see.squiggles(page)).length);
  say('fixed line', (await saved(page, '4.7')).split('\n')[5]);

  // A line more, completed, and all of them formatted.
  await page.keyboard.press('Control+End');
  await page.keyboard.type('load--RX   2k--gr');
  say('completion', await see.complete(page, 'ground'));
  await wait('the word', async () => (await see.lines(page)).some(it => it.endsWith('2k--ground')));
  await see.command(page, 'Format Document');
  await wait('the form', async () => (await see.lines(page)).some(it => it.endsWith('-- RX 2k -- ground')));
  say('formatted', await saved(page, 'RX 2k'));
}

/** Saves the text, which holds these words, and gives what lies on the disk. */
async function saved(page, words) {
  await page.keyboard.press('Control+s');
  await wait('the saved file', () => fs.readFileSync(file, 'utf8').includes(words));
  return fs.readFileSync(file, 'utf8');
}

(async () => {
  const { page, close } = await see.open(path.dirname(file), { width: 1100, height: 700 });
  try {
    await drive(page);
  } catch (trouble) {
    say('trouble', trouble.stack ?? trouble);
  } finally {
    if (process.env.AMPERSUM_PICTURE) await page.screenshot({ path: process.env.AMPERSUM_PICTURE });
    await close();
  }
})();
