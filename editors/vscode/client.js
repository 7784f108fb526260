// Starts `ampersum serve` and hands it every `.amp` text; all else is the server's.
const { commands, window, workspace } = require('vscode');
const { LanguageClient } = require('vscode-languageclient/node');

let client;

async function start() {
  const command = workspace.getConfiguration('ampersumServer').get('command') || 'ampersum';
  client = new LanguageClient(
    'ampersumServer',
    'Ampersum',
    { command, args: ['serve'] },
    {
      documentSelector: [{ language: 'ampersum' }],
      synchronize: { configurationSection: 'ampersum' },
      initializationOptions: workspace.getConfiguration('ampersum'),
    },
  );
  try {
    await client.start();
  } catch (trouble) {
    window.showErrorMessage(`Ampersum: \`${command} serve\` could not be started (${trouble.message ?? trouble}). Is it installed?`);
  }
}

async function stop() {
  const running = client;
  client = undefined;
  await running?.stop().catch(() => {});
}

exports.activate = async context => {
  context.subscriptions.push(
    commands.registerCommand('ampersumServer.restart', async () => {
      await stop();
      await start();
    }),
  );
  await start();
};

exports.deactivate = stop;
