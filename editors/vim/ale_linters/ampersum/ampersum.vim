" The server of Ampersum, for ALE.
call ale#Set('ampersum_executable', 'ampersum')
" The same keys as in `ampersum.toml`.
call ale#Set('ampersum_config', {})

function! ale_linters#ampersum#ampersum#Root(buffer) abort
  let l:settings = ale#path#FindNearestFile(a:buffer, 'ampersum.toml')
  return fnamemodify(empty(l:settings) ? bufname(a:buffer) : l:settings, ':p:h')
endfunction

" ALE counts columns in bytes, which is not what the protocol takes for granted.
function! ale_linters#ampersum#ampersum#Options(buffer) abort
  return {'columns': 'bytes', 'ampersum': ale#Var(a:buffer, 'ampersum_config')}
endfunction

call ale#linter#Define('ampersum', {
\   'name': 'ampersum',
\   'lsp': 'stdio',
\   'executable': {b -> ale#Var(b, 'ampersum_executable')},
\   'command': '%e serve',
\   'language': 'ampersum',
\   'project_root': function('ale_linters#ampersum#ampersum#Root'),
\   'initialization_options': function('ale_linters#ampersum#ampersum#Options'),
\})
