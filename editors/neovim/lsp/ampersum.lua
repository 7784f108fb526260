-- The server of Ampersum, for Neovim 0.11 and later: `vim.lsp.enable('ampersum')`.
return {
  cmd = { 'ampersum', 'serve' },
  filetypes = { 'ampersum' },
  root_markers = { 'ampersum.toml', '.git' },
  -- The same keys as in `ampersum.toml`.
  settings = { ampersum = vim.empty_dict() },
}
