# Colours for Ampersum, and its server for kak-lsp.

hook global BufCreate .*\.amp %{ set-option buffer filetype ampersum }

hook global WinSetOption filetype=ampersum %{
    require-module ampersum
    add-highlighter window/ampersum ref ampersum
    hook -once -always window WinSetOption filetype=.* %{ remove-highlighter window/ampersum }
    try %{ lsp-enable-window }
}

hook global BufSetOption filetype=ampersum %{
    set-option buffer comment_line '#'
    set-option buffer indentwidth 2
    # kak-lsp makes this option, and may not be there.
    try %{ set-option buffer lsp_servers %{
        [ampersum]
        root_globs = ["ampersum.toml", ".git"]
        command = "ampersum"
        args = ["serve"]
    } }
}

provide-module ampersum %{
    add-highlighter shared/ampersum regions
    add-highlighter shared/ampersum/code default-region group
    add-highlighter shared/ampersum/description region '##' '$' fill documentation
    add-highlighter shared/ampersum/comment region '#' '$' fill comment
    add-highlighter shared/ampersum/text region '"' '"|$' fill string
    add-highlighter shared/ampersum/code/ regex '\b(plus|minus|drives|part|supply|from|into|to|wiper|total|anode|cathode|value|rated|sine|square|triangle|step|through|offset|duty|always|within|linear|latches|oscillates|finding|goes|high|low|rail|points|among|by|driven|and|for|at)\b' 0:keyword
    add-highlighter shared/ampersum/code/ regex '^\h*(ampersum|use|circuit|part|block|work|end|supply|start|expect|problem|ask|answer|find|vary|require|record|response|allow|let|source|opamps)\b(?!\h--)' 1:keyword
    add-highlighter shared/ampersum/code/ regex '^\h*(\w+)\h+\w+\h*:' 1:keyword
    add-highlighter shared/ampersum/code/ regex '\b(parallel|abs|sqrt|min|max|log10|nearest|current|power|phase)(?=\()' 0:function
    add-highlighter shared/ampersum/code/ regex '\b\d+(\.\d+)?(e[+-]?\d+)?(\h*%|\h*[TGMkmunpfµμ]?(ohm|Ω|Vrms|Vpp|Hz|[VAsSFHW])(/[munpµμ]?[sV])?(?!\w)|\h*(dB|deg)\b|\h*[kMG](?!\w)|[kKMGRmunp]\d*F?(?!\w))?' 0:value
    add-highlighter shared/ampersum/code/ regex '--\h*(\w+)(?=\h[0-9(])' 1:type
    add-highlighter shared/ampersum/code/ regex '--' 0:operator
    add-highlighter shared/ampersum/code/ regex '\bground\b' 0:builtin
}
