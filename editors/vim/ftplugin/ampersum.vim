" Comments, indents and keys for Ampersum.
if exists('b:did_ftplugin')
  finish
endif
let b:did_ftplugin = 1

setlocal commentstring=#\ %s comments=:##,:# expandtab shiftwidth=2
let b:undo_ftplugin = 'setlocal commentstring< comments< expandtab< shiftwidth<'

" With ALE, what the server answers is a key away.
if exists(':ALEHover') == 2
  setlocal omnifunc=ale#completion#OmniFunc
  let b:undo_ftplugin .= ' omnifunc<'
  if !exists('g:no_plugin_maps') && !exists('g:no_ampersum_maps')
    nnoremap <buffer> K <Cmd>ALEHover<CR>
    nnoremap <buffer> gd <Cmd>ALEGoToDefinition<CR>
    nnoremap <buffer> gra <Cmd>ALECodeAction<CR>
    let b:undo_ftplugin .= ' | silent! nunmap <buffer> K | silent! nunmap <buffer> gd | silent! nunmap <buffer> gra'
  endif
endif
