/// The grammar of Ampersum for editors: one statement a line, every word a word only by its place.
///
/// It says what a line is; whether it may stand there, and whether it makes sense, is the server's matter.

/// First words of statements. The scanner tells them from names by what follows; in the order of its table.
const FIRST_WORDS = [
  'use', 'part', 'block', 'circuit', 'work', 'end', 'ampersum', 'source', 'let', 'supply', 'opamps', 'start', 'expect',
  'problem', 'ask', 'answer', 'find', 'vary', 'require', 'record', 'response', 'allow',
];
/// Words that may stand where an operand may; the scanner tells these too.
const LATER_WORDS = ['sine', 'square', 'triangle', 'step', 'through', 'finding', 'always'];

const told = ($, word) => alias($[`_${word}_word`], word);

const PREFIX = '[TGMkmunpf\u00B5\u03BC]?';

const PREC = { sum: 1, product: 2, sign: 3, power: 4 };

const list = rule => seq(rule, repeat(seq(',', rule)));

/// Each of some options at most once, in any order.
const options = rules =>
  rules.length === 0
    ? blank()
    : optional(choice(...rules.map(rule => seq(rule, options(rules.filter(it => it !== rule))))));

module.exports = grammar({
  name: 'ampersum',

  word: $ => $.name,

  // The scanner reads what can only be told by looking ahead, and what is never read as something else.
  externals: $ => [
    $._line_end, $._continuation, '--', $.open_text, $.decimal_comma, $.description, $.unread, $._first_name,
    $._first_dotted, $._first_switch, $._held_source_word, $._property_word, $._equation_name, $._equation_dotted,
    ...[...FIRST_WORDS, ...LATER_WORDS].map(word => $[`_${word}_word`]),
  ],

  extras: $ => [/[ \t\r\u00A0\u202F]/, $._continuation, $.comment, $.description],

  supertypes: $ => [$._statement, $._expression],

  inline: $ => [$._item, $._ended, $._node, $._number, $._value, $._unit],

  // `6 V/us` is one quantity, `6 V/R1` a quotient; `headroom low -1 V` a difference, before a comma a value called `low`.
  conflicts: $ => [[$._quantity_with_unit], [$.pair, $._reference]],

  rules: {
    // Bodies pair by their `end`, or close before a line that opens another one: what stands behind a body without its `end`
    // begins with such a line.
    file: $ => seq(optional($._lines), repeat($.circuit)),
    circuit: $ => seq($._circuit_head, $._line_end, optional($._lines)),
    _lines: $ => choice(seq(repeat1($._item), optional($._unended)), $._unended),
    _item: $ => choice($._line, $._used, $._ended),
    _unended: $ =>
      seq(
        choice(alias($._open_part, $.part), alias($._open_block, $.block), alias($._open_work, $.work)),
        optional(choice(
          seq(choice($._ended, $._used), repeat($._item), optional($._unended)),
          $._unended,
        )),
      ),
    _ended: $ => choice($.part, $.block, $.work),

    part: $ => seq($._open_part, told($, 'end'), $._line_end),
    block: $ => seq($._open_block, told($, 'end'), $._line_end),
    work: $ => seq($._open_work, told($, 'end'), $._line_end),
    _open_part: $ => seq($._part_head, $._line_end, repeat(choice($._line, seq($.property, $._line_end)))),
    _open_block: $ => seq($._block_head, $._line_end, repeat($._line)),
    _open_work: $ =>
      seq(
        $._work_head, $._line_end,
        repeat(choice($._line, seq($.equation, $._line_end))),
      ),

    // Behind the word that opens a body its line may end, so a head that cannot be read opens its body all the same. Where
    // the word stands alone the scanner makes an error of it.
    _circuit_head: $ => seq(told($, 'circuit'), optional(seq(field('name', $.name), repeat($.text)))),
    _part_head: $ => seq(told($, 'part'), optional(field('name', $.name))),
    _block_head: $ => seq(told($, 'block'), optional(seq($._block_name, list($.port)))),
    _block_name: $ => seq(field('name', $.name), ':'),
    _work_head: $ => seq(told($, 'work'), repeat($.text), optional(seq('for', field('circuit', $.name)))),

    _line: $ => choice($._line_end, seq($._statement, $._line_end)),

    port: $ => seq(field('name', $.name), optional(seq('=', field('default', $._expression)))),

    _statement: $ =>
      choice(
        $.version, $.path, $.source, $.device, $.let, $.supply, $.opamps, $.start, $.expect, $.task, $.answer,
        $.find, $.vary, $.require, $.record, $.response, $.allow,
      ),

    version: $ => seq(told($, 'ampersum'), $._number),

    _used: $ => seq($.use, $._line_end),
    // Like the heads of bodies, since it closes one.
    use: $ => seq(told($, 'use'), optional($.text)),

    // What a part is like.
    property: $ => seq(field('word', alias($._property_word, $.name)), $._form),
    _form: $ =>
      choice(
        prec.dynamic(1, seq($._expression, optional(seq('to', $._expression)))),
        seq($._expression, repeat1(seq(',', $.pair))),
        list($.pair),
      ),
    pair: $ => seq(field('word', $.name), $._expression),

    path: $ => seq(
      choice(alias($._first_name, $.name), alias($._first_dotted, $.dotted)),
      '--',
      $.element,
      repeat(seq('--', optional(seq($._node, '--')), $.element)),
      '--',
      $._node,
    ),

    element: $ =>
      seq(
        field('name', choice($.name, $.dotted)),
        choice(
          seq(alias($._bare, $.quantity), optional(seq(alias($._rating, $.quantity), repeat($.quantity)))),
          seq(choice(alias($._quantity_with_unit, $.quantity), $.brackets), repeat($.quantity)),
        ),
      ),

    // One with an equals sign holds a voltage.
    source: $ =>
      choice(
        seq(
          alias($._held_source_word, 'source'), field('name', $.name), ':',
          $._node, optional(seq($._minus, $._node)), '=', $._drive,
        ),
        seq(told($, 'source'), field('name', $.name), ':', $._drive, 'from', $._node, 'into', $._node),
      ),
    _drive: $ => choice($.wave, $._expression),
    wave: $ =>
      choice(
        seq(
          choice(told($, 'sine'), told($, 'square'), told($, 'triangle')), $._expression,
          'at', $._expression,
          options(['offset', 'phase', 'duty'].map(word => seq(word, $._expression))),
        ),
        seq(told($, 'step'), $._expression, 'to', $._expression, 'at', $._expression),
        seq(told($, 'through'), list(seq($._expression, 'at', $._expression))),
      ),

    device: $ =>
      choice(
        seq(field('kind', alias($._first_name, $.name)), field('name', $.name), ':', list($.clause)),
        seq(field('kind', alias($._first_switch, $.name)), field('name', $.name), ':', list(alias($._switch_clause, $.clause))),
      ),
    clause: $ =>
      choice(
        seq(field('word', alias('supply', $.name)), $._rails),
        seq(field('word', $.name), $._argument),
        seq(field('word', alias(choice('open', 'closed'), $.name)), optional($._argument)),
      ),
    // Only a switch has clauses of one word.
    _switch_clause: $ =>
      choice(
        seq(field('word', alias('supply', $.name)), $._rails),
        seq(field('word', alias(choice('from', 'to'), $.name)), $._argument),
        seq(field('word', $.name), optional($._argument)),
      ),
    _argument: $ => choice($._node, $._value),

    let: $ => seq(told($, 'let'), field('name', $.name), '=', $._expression),

    supply: $ => seq(told($, 'supply'), $._rails),
    _rails: $ => seq($.rail, optional(seq('and', $.rail))),
    rail: $ => choice($._node, seq(optional(choice('+', $._minus)), $._value)),

    opamps: $ => seq(told($, 'opamps'), 'are', field('part', $.name)),

    start: $ => seq(told($, 'start'), $._expression, '=', $._expression),

    expect: $ =>
      seq(
        told($, 'expect'),
        choice(
          seq(told($, 'finding'), field('rule', $.name), 'at', $._reference),
          seq($._reference, $._state),
          seq(
            optional(told($, 'always')), $._expression, '=', $._expression,
            optional(seq('at', $._expression)), optional($._within),
          ),
        ),
      ),
    _state: $ =>
      choice(
        'linear', 'latches', 'oscillates',
        seq('at', choice('high', 'low'), 'rail'),
        seq('goes', choice('high', 'low'), 'at', $.name, '=', $._expression, optional($._within)),
      ),
    _within: $ => seq('within', $._expression),

    task: $ => seq(choice(told($, 'problem'), told($, 'ask')), repeat1($.text), optional($._points)),
    answer: $ => seq(told($, 'answer'), repeat1($.text)),
    find: $ => seq(told($, 'find'), list($._expression), optional($._points)),
    _points: $ => seq('points', $._number),

    vary: $ =>
      seq(
        told($, 'vary'),
        $._reference,
        choice(
          seq('among', list($._expression)),
          seq(
            'from', $._expression, 'to', $._expression,
            choice(seq('by', $._expression), seq('in', field('series', $.name))),
          ),
        ),
      ),
    require: $ => seq(told($, 'require'), $._expression, choice('<', '>', '<=', '>='), $._expression),
    record: $ => seq(told($, 'record'), list($._expression), 'for', $._expression),
    response: $ =>
      seq(told($, 'response'), $._expression, optional(seq('driven', 'by', $._reference)), 'from', $._expression, 'to', $._expression),
    allow: $ => seq(told($, 'allow'), field('rule', $.name), 'at', $._reference, ':', repeat1($.text)),

    equation: $ => seq($._expression, '=', $._expression),

    // Quantities and expressions.
    _expression: $ => choice($.sum, $.product, $.negative, $.power, $._primary),
    _primary: $ => choice($.quantity, $._reference, $.call, $.brackets),
    sum: $ => prec.left(PREC.sum, seq($._expression, choice('+', $._minus), $._expression)),
    product: $ => prec.left(PREC.product, seq($._expression, choice('*', '/', $._per), $._expression)),
    negative: $ => prec(PREC.sign, seq($._minus, $._expression)),
    power: $ => prec(PREC.power, seq($._primary, '^', optional($._minus), alias($._whole, $.number))),
    call: $ => seq(field('function', $._reference), alias($._touching, '('), list($._expression), ')'),
    brackets: $ => seq(choice('(', alias($._touching, '(')), $._expression, ')'),
    _touching: _ => token.immediate('('),
    _minus: $ => alias(/[-\u2212]/, '-'),

    _node: $ => choice($.name, $.dotted),
    _reference: $ =>
      choice(
        $.name, $.dotted,
        // Where an equation begins.
        alias($._equation_name, $.name), alias($._equation_dotted, $.dotted),
      ),

    _value: $ => choice($.quantity, $.brackets),
    quantity: $ => choice($._bare, $._quantity_with_unit),
    // Behind it stands no number that would go on with its digits.
    _bare: $ => alias($._whole, $.number),
    _quantity_with_unit: $ =>
      choice(
        alias($._decimal, $.number),
        seq($._number, $._unit),
        alias($._marked, $.number),
        prec.dynamic(1, seq(
          $._number, alias($._volts, $.unit), alias($._per, '/'), alias(choice($._volts, $._seconds), $.unit),
        )),
      ),
    _rating: $ =>
      choice(
        seq($._number, choice(
          alias($._volts, $.unit), alias($._seconds, $.unit), alias($._other_unit, $.unit), alias('%', $.unit),
        )),
        alias($._marked, $.number),
      ),
    _number: $ => choice(alias($._whole, $.number), alias($._decimal, $.number)),
    _unit: $ => alias(choice($._volts, $._seconds, $._ohms, $._other_unit, '%'), $.unit),
    _whole: _ => /[0-9]+/,
    _decimal: _ => /[0-9]+(\.[0-9]+(e[+\-\u2212]?[0-9]+)?|e[+\-\u2212]?[0-9]+)/,
    _volts: _ => new RegExp(`${PREFIX}V`),
    _seconds: _ => new RegExp(`${PREFIX}s`),
    _ohms: _ => new RegExp(`${PREFIX}(ohm|\u03A9|\u2126)|[kMG]`),
    _other_unit: _ => new RegExp(`${PREFIX}(A|Hz|W|S|F|H|Vpp|Vrms)|deg|dB`),
    // A marking code, whose letter stands where the point would: `4k7`, `2R2`, `4n7F`.
    _marked: _ => /[0-9]+([RK][0-9]*|[kMG][0-9]+|[mun\u00B5\u03BCp][0-9]+F)/,
    _per: _ => token.immediate('/'),

    text: _ => /"[^"\n]*"/,

    name: _ => /[\p{XID_Start}_]\p{XID_Continue}*/,
    dotted: _ => /[\p{XID_Start}_]\p{XID_Continue}*(\.[\p{XID_Start}_]\p{XID_Continue}*)+/,

    comment: _ => /#([^\r\n]|\r+[^\r\n])*/,
  },
});
