" The colours of the Vim folder beside this one, found through links.
execute 'source' fnameescape(resolve(expand('<sfile>:p:h:h')) .. '/../vim/syntax/ampersum.vim')
