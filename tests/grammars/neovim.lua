-- Opens a file with the files of `editors/neovim` and a compiled parser; prints what is seen, one line a thing.
-- nvim --headless -u NONE -i NONE -l neovim.lua, with AMPERSUM_PARSER, AMPERSUM_EDITOR, AMPERSUM_FILE
vim.g.ampersum_parser = vim.env.AMPERSUM_PARSER
vim.opt.runtimepath:prepend(vim.env.AMPERSUM_EDITOR)
vim.cmd('filetype plugin on')
vim.cmd.edit(vim.env.AMPERSUM_FILE)
vim.treesitter.get_parser(0):parse(true)

local function say(what, words) io.write(what, ': ', tostring(words), '\n') end

-- The last colour at a place counts.
local function colour(row, column)
  local captures = vim.treesitter.get_captures_at_pos(0, row, column)
  return #captures > 0 and captures[#captures].capture or ''
end

say('expect', colour(5, 0))
say('node', colour(5, 7))
say('word', colour(5, 16))
say('number', colour(5, 12))
vim.cmd('setlocal foldmethod=expr foldexpr=v:lua.vim.treesitter.foldexpr()')
say('fold of gain', vim.treesitter.foldexpr(2))
