; What a token is, by its place. Names that are nothing special keep the text's colour.

(comment) @comment
(description) @comment.documentation

[(text) (open_text)] @string
[(number) (unit)] @constant.numeric @number
(decimal_comma) @error

[
  "use" "part" "block" "circuit" "work" "end"
  "ampersum" "source" "let" "supply" "opamps" "start" "expect" "problem" "ask" "answer" "find" "vary" "require" "record"
  "response" "allow"
  "sine" "square" "triangle" "step" "through" "finding" "always"
  "for" "from" "into" "at" "to" "by" "in" "among" "and" "are" "driven" "points" "within"
  "linear" "latches" "oscillates" "high" "low" "rail" "goes"
  "offset" "phase" "duty"
] @keyword

["--" "-" "+" "*" "/" "^" "=" "<" ">" "<=" ">="] @operator
["," ":"] @punctuation.delimiter
["(" ")"] @punctuation.bracket

((name) @constant.builtin
  (#eq? @constant.builtin "ground"))

(call function: (_) @function)

(property word: (name) @property)
(pair word: (name) @property)

(element name: (_) @type)
(source name: (name) @type)
(device name: (name) @type)
[(part name: (name) @type) (block name: (name) @type) (circuit name: (name) @type)]

((device kind: (name) @keyword)
  (#any-of? @keyword "opamp" "comparator" "switch" "pot" "diode" "electrolytic"))
((device kind: (name) @type)
  (#not-any-of? @type "opamp" "comparator" "switch" "pot" "diode" "electrolytic"))

((clause word: (name) @keyword)
  (#any-of? @keyword
    "plus" "minus" "drives" "part" "supply" "from" "to" "wiper" "total" "at" "open" "closed" "anode" "cathode" "value"
    "rated"))
((clause word: (name) @variable.parameter)
  (#not-any-of? @variable.parameter
    "plus" "minus" "drives" "part" "supply" "from" "to" "wiper" "total" "at" "open" "closed" "anode" "cathode" "value"
    "rated"))
