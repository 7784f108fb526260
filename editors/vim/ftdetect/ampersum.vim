autocmd BufNewFile,BufRead *.amp setfiletype ampersum
