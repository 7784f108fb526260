// Takes the picture of editors/vscode: an example with a wrong claim, and the hover there.
// node picture.js PICTURE, with what workbench.js needs
const fs = require('fs');
const os = require('os');
const path = require('path');
const see = require('./workbench.js');

(async () => {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'greenhouse-'));
  const file = path.join(folder, 'soil_minus_air.amp');
  const text = fs.readFileSync(path.join(__dirname, '../../../examples/soil_minus_air.amp'), 'utf8');
  fs.writeFileSync(file, text.replace(/^#.*\n/gm, '').replace('-0.99 V', '-0.9 V'));
  const { page, close } = await see.open(folder, {
    width: 900,
    height: 520,
    'editor.minimap.enabled': false,
    'editor.lineNumbers': 'off',
    'editor.overviewRulerBorder': false,
    'editor.fontSize': 15,
    'breadcrumbs.enabled': false,
    'workbench.activityBar.location': 'hidden',
    'workbench.layoutControl.enabled': false,
    'window.commandCenter': false,
    'workbench.colorTheme': 'Default Dark Modern',
  });
  try {
    await see.openFile(page, path.basename(file));
    await page.keyboard.press('Control+b');
    await see.wait('squiggles', async () => (await see.squiggles(page)).length > 0);
    await see.wait('hints', async () => (await see.lines(page)).some(it => it.includes('= −990 mV')));
    await page.locator('.codelens-decoration').first().waitFor();
    await see.hover(page, 'expect out', 'out', 'Joined');
    await page.screenshot({ path: process.argv[2] });
  } finally {
    await close();
    fs.rmSync(folder, { recursive: true });
  }
})();
