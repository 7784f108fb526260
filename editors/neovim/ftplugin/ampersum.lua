vim.bo.commentstring = '# %s'
vim.bo.comments = ':##,:#'
vim.bo.expandtab = true
vim.bo.shiftwidth = 2
vim.b.undo_ftplugin = 'setlocal commentstring< comments< expandtab< shiftwidth<'

-- Colours from the tree, where its parser was compiled (see the README); else those of `syntax`.
local here = vim.uv.fs_realpath(debug.getinfo(1, 'S').source:sub(2))
local grammar = vim.fs.joinpath(vim.fs.dirname(vim.fs.dirname(vim.fs.dirname(here))), 'grammars', 'tree-sitter-ampersum')
local parser = vim.g.ampersum_parser or vim.fs.joinpath(grammar, 'ampersum.so')
if vim.uv.fs_stat(parser) and vim.treesitter.language.add('ampersum', { path = parser }) then
  for _, kind in ipairs({ 'highlights', 'folds', 'indents' }) do
    local lines = vim.fn.readfile(vim.fs.joinpath(grammar, 'queries', kind .. '.scm'))
    vim.treesitter.query.set('ampersum', kind, table.concat(lines, '\n'))
  end
  vim.treesitter.start(0, 'ampersum')
  vim.b.undo_ftplugin = vim.b.undo_ftplugin .. ' | lua vim.treesitter.stop()'
end
