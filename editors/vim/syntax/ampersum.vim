" Colours for Ampersum.
if exists('b:current_syntax')
  finish
endif

syntax case match
syntax match ampersumWord /\<\%(plus\|minus\|drives\|part\|supply\|from\|into\|to\|wiper\|total\|anode\|cathode\|value\|rated\|sine\|square\|triangle\|step\|through\|offset\|duty\|always\|within\|linear\|latches\|oscillates\|finding\|goes\|high\|low\|rail\|points\|among\|by\|driven\|and\|for\|at\)\>\%(\s*\%(--\|=\|)\)\)\@!/
syntax match ampersumStatement /^\s*\%(ampersum\|use\|circuit\|part\|block\|work\|end\|supply\|start\|expect\|problem\|ask\|answer\|find\|vary\|require\|record\|response\|allow\|let\|source\|opamps\)\>\%(\s*--\)\@!/
syntax match ampersumDevice /^\s*\%(source\>\|allow\>\)\@!\k\+\ze\s\+\k\+\s*:/
syntax match ampersumFunction /\<\%(parallel\|abs\|sqrt\|min\|max\|log10\|nearest\|current\|power\|phase\)\ze(/
syntax match ampersumNumber /\<\d\+\%(\.\d\+\)\?\%(e[+-]\?\d\+\)\?\%(\s*%\|\s*[TGMkmunpfµμ]\?\%(ohm\|Ω\|Vrms\|Vpp\|V\|A\|Hz\|s\|S\|F\|H\|W\)\%(\/[munpµμ]\?[sV]\)\?\k\@!\|\s*\%(dB\|deg\)\>\|\s*[kMG]\k\@!\|[kKMGRmunp]\d*F\?\k\@!\)\?/
syntax keyword ampersumGround ground
syntax match ampersumWire /--/
syntax match ampersumElement /\%(--\s*\)\@<=\k\+\ze\s\+[0-9(]/
syntax region ampersumText start=/"/ end=/"/ oneline
syntax match ampersumComment /#.*$/ contains=@Spell
syntax match ampersumDescription /##.*$/ contains=@Spell

highlight default link ampersumStatement Statement
highlight default link ampersumDevice Statement
highlight default link ampersumWord Keyword
highlight default link ampersumFunction Function
highlight default link ampersumNumber Number
highlight default link ampersumGround Constant
highlight default link ampersumWire Operator
highlight default link ampersumElement Type
highlight default link ampersumText String
highlight default link ampersumComment Comment
highlight default link ampersumDescription SpecialComment

let b:current_syntax = 'ampersum'
