" Drives Vim with ALE as a user would, with the files of `editors/vim`; prints what is seen, one line a thing.
" vim -E -s -N -u NONE -i NONE -S vim.vim, with AMPERSUM_PROGRAM, AMPERSUM_EDITOR, AMPERSUM_FILE, AMPERSUM_FIX
set hidden nomore encoding=utf-8
execute 'set runtimepath^=' .. fnameescape($AMPERSUM_EDITOR)
packadd ale
filetype plugin on
syntax on
let g:ale_ampersum_executable = $AMPERSUM_PROGRAM
let g:ale_lint_delay = 50
let g:ale_floating_preview = 1

let s:seen = []
function s:say(what, words)
  call add(s:seen, a:what .. ': ' .. substitute(a:words, "\n", '⏎', 'g'))
endfunction

function s:wait(what, Ready)
  let tries = 400
  while tries > 0 && !a:Ready()
    sleep 50m
    let tries -= 1
  endwhile
  if !a:Ready() | call s:say('too long', a:what) | endif
endfunction

function s:findings()
  return get(get(g:ale_buffer_info, bufnr(''), {}), 'loclist', [])
endfunction

function s:found(finding)
  return strpart(getline(a:finding.lnum), a:finding.col - 1, a:finding.end_col - a:finding.col + 1)
endfunction

" Takes the code action with this title from the menu.
function s:choose(title)
  let s:title = a:title
  runtime autoload/ale/util.vim
  function! ale#util#Input(menu, value, ...)
    let line = matchstr(split(a:menu, "\n"), '\V' .. s:title)
    if empty(line) | call s:say('no such action', a:menu) | endif
    return matchstr(line, '^\d\+')
  endfunction
  ALECodeAction
endfunction

try
  execute 'edit' fnameescape($AMPERSUM_FILE)
  call s:say('file type', &filetype)
  call s:say('comment', &commentstring)
  call s:say('colour of drives', synIDattr(synID(5, stridx(getline(5), 'drives') + 1, 1), 'name'))

  call s:wait('findings', {-> !empty(s:findings())})
  for it in s:findings()
    call s:say('squiggle', it.code .. ' at ' .. s:found(it))
  endfor

  " `K` on the last word of the path.
  call cursor(4, len(getline(4)))
  normal K
  call s:wait('the hover', {-> !empty(popup_list())})
  for it in popup_list()
    call s:say('hover', join(getbufline(winbufnr(it), 1, '$'), "\n"))
  endfor
  call popup_clear()

  " The way to where a name comes from.
  call cursor(5, stridx(getline(5), 'sum') + 1)
  normal gd
  call s:wait('the definition', {-> line('.') == 4})
  call s:say('definition', 'line ' .. line('.'))

  " The explanation of the equation at `sum`, which this client can only be given as a comment.
  call cursor(4, stridx(getline(4), 'sum') + 1)
  call s:choose('Write the explanation as a comment above')
  call s:wait('the explanation', {-> search('^# Equation at sum', 'nw')})
  call s:say('explanation', join(getline(search('^# Equation at sum', 'nw'), search('^in --', 'nw') - 1), "\n"))

  " The fix at the finding, once the findings have followed the text, which the comment has moved.
  " Vim sees that a text has changed when it waits for keys, which it never does here.
  ALELint
  call s:wait('the finding at its new place', {-> !empty(s:findings()) && s:found(s:findings()[0]) ==# '4,7'})
  if !empty(s:findings())
    call cursor(s:findings()[0].lnum, s:findings()[0].col)
    call s:choose($AMPERSUM_FIX)
    call s:wait('the fix', {-> getline('.') !~# '4,7'})
    call s:say('fixed line', getline('.'))
    ALELint
    call s:wait('the end of findings', {-> empty(s:findings())})
  endif
  call s:say('findings left', len(s:findings()))
catch
  call s:say('trouble', v:exception .. ' at ' .. v:throwpoint)
endtry
call writefile(s:seen, '/dev/stdout')
qall!
