vim.filetype.add({ extension = { amp = 'ampersum' } })
