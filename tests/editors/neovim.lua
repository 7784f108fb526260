-- Drives Neovim as a user would, with the files of `editors/neovim`; prints what is seen, one line a thing.
-- nvim --headless -u NONE -i NONE -l neovim.lua, with AMPERSUM_PROGRAM, AMPERSUM_EDITOR, AMPERSUM_FILE
local program, editor, file = vim.env.AMPERSUM_PROGRAM, vim.env.AMPERSUM_EDITOR, vim.env.AMPERSUM_FILE

local function say(what, words)
  io.write(what, ': ', (tostring(words):gsub('\n', '⏎')), '\n')
end

local function wait(what, ready)
  if not vim.wait(20000, ready, 20) then say('too long', what) end
end

vim.opt.runtimepath:prepend(editor)
vim.cmd('filetype plugin on')
vim.cmd('syntax on')
vim.lsp.config('ampersum', { cmd = { program, 'serve' } })
vim.lsp.enable('ampersum')
vim.cmd.edit(file)
local buffer = vim.api.nvim_get_current_buf()
say('file type', vim.bo[buffer].filetype)
say('comment', vim.bo[buffer].commentstring)
say('colour of drives', vim.fn.synIDattr(vim.fn.synID(5, vim.fn.stridx(vim.fn.getline(5), 'drives') + 1, 1), 'name'))

local function client() return vim.lsp.get_clients({ bufnr = buffer })[1] end
wait('the server', function() return client() and client().initialized end)
say('encoding', client().offset_encoding)

local function diagnostics() return vim.diagnostic.get(buffer) end
wait('diagnostics', function() return #diagnostics() > 0 end)
for _, it in ipairs(diagnostics()) do
  local line = vim.api.nvim_buf_get_lines(buffer, it.lnum, it.lnum + 1, false)[1]
  say('squiggle', it.code .. ' at ' .. line:sub(it.col + 1, it.end_col))
end

-- `K` on the last word of the path.
local path = vim.api.nvim_buf_get_lines(buffer, 3, 4, false)[1]
vim.api.nvim_win_set_cursor(0, { 4, #path - 1 })
local function floating()
  for _, window in ipairs(vim.api.nvim_list_wins()) do
    if vim.api.nvim_win_get_config(window).relative ~= '' then return window end
  end
end
vim.lsp.buf.hover()
wait('the hover', floating)
local window = floating()
if window then
  say('hover', table.concat(vim.api.nvim_buf_get_lines(vim.api.nvim_win_get_buf(window), 0, -1, false), '\n'))
  vim.api.nvim_win_close(window, true)
end

vim.lsp.inlay_hint.enable(true, { bufnr = buffer })
wait('hints', function() return #vim.lsp.inlay_hint.get({ bufnr = buffer }) > 0 end)
for _, it in ipairs(vim.lsp.inlay_hint.get({ bufnr = buffer })) do
  local words = {}
  for _, part in ipairs(it.inlay_hint.label) do table.insert(words, part.value) end
  say('hint', it.inlay_hint.position.line .. ' ' .. table.concat(words))
end

local symbols = client():request_sync('textDocument/documentSymbol', { textDocument = vim.lsp.util.make_text_document_params(buffer) }, 10000, buffer)
say('first symbol', symbols and symbols.result and symbols.result[1] and symbols.result[1].name)

-- The explanation of the equation at `sum`, in a window of its own.
vim.api.nvim_win_set_cursor(0, { 4, (path:find('sum', 1, true)) - 1 })
local before = vim.api.nvim_get_current_win()
vim.lsp.buf.code_action({ filter = function(it) return it.title == 'Explain the equation at `sum`' end, apply = true })
local function page()
  for _, it in ipairs(vim.api.nvim_list_bufs()) do
    if vim.api.nvim_buf_is_loaded(it) and vim.api.nvim_buf_get_name(it):match('explain%-%x+%.md$') then return it end
  end
end
wait('the explanation', page)
if page() then say('explanation', table.concat(vim.api.nvim_buf_get_lines(page(), 0, -1, false), '\n')) end
vim.api.nvim_set_current_win(before)
vim.api.nvim_win_set_buf(before, buffer)

-- The preferred fix at the finding.
local found = diagnostics()[1]
if found then
  vim.api.nvim_win_set_cursor(0, { found.lnum + 1, found.col })
  vim.lsp.buf.code_action({ filter = function(it) return it.isPreferred end, apply = true })
  wait('the fix', function() return #diagnostics() == 0 end)
  say('fixed line', vim.api.nvim_buf_get_lines(buffer, found.lnum, found.lnum + 1, false)[1])
end
say('findings left', #diagnostics())

-- What is typed: the diagnostic waits while the line is written.
vim.api.nvim_buf_set_lines(buffer, -1, -1, false, { 'in -- R9' })
wait('the unfinished line', function() return #diagnostics() > 0 end)
say('unfinished', diagnostics()[1] and diagnostics()[1].code)

for _, it in ipairs(vim.lsp.get_clients()) do it:stop() end
wait('the end', function() return #vim.lsp.get_clients() == 0 end)
say('servers left', #vim.lsp.get_clients())
