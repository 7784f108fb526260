//! The manual pages of errors of reading and naming: why the language is so, a wrong and a right example.

/// The page of an error, by its id.
pub fn doc(id: &str) -> Option<&'static str> {
    DOCS.iter().find(|it| it.0 == id).map(|it| it.1)
}

/// Id and page of each.
pub const DOCS: &[(&str, &str)] = &[
    (
        "open_string",
        r##"A text stands between two quotes on one line. Without the second quote nobody knows where it ends, so it is taken to
end with its line.
# Wrong
    circuit tray "Warm the seed trays
    source probe: in = 1 V
    in -- R1 10k -- ground
# Right
    circuit tray "Warm the seed trays"
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "decimal_comma",
        r##"Numbers are written with a point. A comma separates the parts of a line, so `4,7k` could mean two things.
# Wrong
    source probe: in = 1 V
    in -- R1 4,7k -- ground
# Right
    source probe: in = 1 V
    in -- R1 4.7k -- ground
"##,
    ),
    (
        "stray_character",
        r##"A sign that is no part of the language. Word processors like to turn two dashes into one long one, and plain quotes
into curly ones.
# Wrong
    source probe: in = 1 V
    in — R1 10k — ground
# Right
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "not_a_statement",
        r##"A line is a path, a device, or begins with a word that says what it is.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- ground
    expct in = 1 V
# Right
    source probe: in = 1 V
    in -- R1 10k -- ground
    expect in = 1 V
"##,
    ),
    (
        "bare_equation",
        r##"An equation alone could be a source, which holds a voltage, or a claim, which is only checked. The first word says
which.
# Wrong
    in = 3 V
    in -- R1 10k -- ground
# Right
    source probe: in = 3 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "element_alone",
        r##"An element lies between two nodes. Which ones, a path says.
# Wrong
    source probe: in = 1 V
    R1 10k
# Right
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "single_dash",
        r##"Two dashes join a path; a single one is a minus sign.
# Wrong
    source probe: in = 1 V
    in - R1 10k - ground
# Right
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "wire_in_equation",
        r##"Two dashes join a path and mean nothing inside an expression. A negative number that is taken away stands in brackets.
# Wrong
    let a = 3
    let x = a--2
    source probe: in = x * 1 V
    in -- R1 10k -- ground
# Right
    let a = 3
    let x = a - (-2)
    source probe: in = x * 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "path_ends",
        r##"A current comes from somewhere and goes somewhere, so a path begins and ends at a node.
# Wrong
    source probe: in = 1 V
    in -- R1 10k
# Right
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "element_value",
        r##"An element of a path is a name and a value.
# Wrong
    source probe: in = 1 V
    in -- R1 -- ground
# Right
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "expected",
        r##"Something is missing here, or something else stands in its place; the help says what fits.
# Wrong
    source probe: in =
    in -- R1 10k -- ground
# Right
    source probe: in = 1.2 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "extra_words",
        r##"A line says one thing. What follows after it is complete belongs on a line of its own, or behind `#` as a remark.
# Wrong
    supply 5 V please
    source probe: in = 1 V
    in -- R1 10k -- ground
# Right
    supply 5 V  # please
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "unknown_unit",
        r##"After a number a word is its unit. The units are those of the SI, with their prefixes; a bare k, M or G means ohms.
# Wrong
    source probe: in = 5 volts
    in -- R1 10k -- ground
# Right
    source probe: in = 5 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "two_numbers",
        r##"A number has no blank inside, because a blank separates two things.
# Wrong
    source probe: in = 1 V
    in -- R1 10 000 -- ground
# Right
    source probe: in = 1 V
    in -- R1 10000 -- ground
"##,
    ),
    (
        "source_form",
        r##"The left side of a source says where it is connected: a node against ground, or one node against another.
# Wrong
    source cell: ground - a = 5 V
    a -- R1 10k -- ground
# Right
    source cell: a = -5 V
    a -- R1 10k -- ground
"##,
    ),
    (
        "missing_end",
        r##"`part`, `block` and `work` go on until their `end`. Without it they end where the next one begins.
# Wrong
    part slow_one
      gain 5000

    circuit follower
    opamps are slow_one
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
# Right
    part slow_one
      gain 5000
    end

    circuit follower
    opamps are slow_one
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
"##,
    ),
    (
        "wrong_place",
        r##"Some statements belong to a circuit, some to a part, some to the head of a file.
# Wrong
    block divider: in, out
      in -- R1 10k -- out -- R2 10k -- ground
      find out
    end

    circuit half
    source probe: in = 1 V
    divider D1: in in, out mid
# Right
    block divider: in, out
      in -- R1 10k -- out -- R2 10k -- ground
    end

    circuit half
    source probe: in = 1 V
    divider D1: in in, out mid
    find mid
"##,
    ),
    (
        "name_taken",
        r##"One name means one thing: nodes, elements, sources, devices and `let` of a circuit share one set of names.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- mid -- R1 10k -- ground
# Right
    source probe: in = 1 V
    in -- R1 10k -- mid -- R2 10k -- ground
"##,
    ),
    (
        "unknown_name",
        r##"A name that nothing in the circuit has. A node exists by standing in a path or a device, or left of `=` in a source;
reading it does not make it.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- out -- R2 10k -- ground
    expect uot = 0.5 V
# Right
    source probe: in = 1 V
    in -- R1 10k -- out -- R2 10k -- ground
    expect out = 0.5 V
"##,
    ),
    (
        "unknown_word",
        r##"A device, clause, property, function, series or rule that does not exist.
# Wrong
    source probe: in = 1 V
    opmap A1: plus in, minus out, drives out
    out -- R1 10k -- ground
# Right
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
"##,
    ),
    (
        "clause_missing",
        r##"Nothing goes by position: each connection of a device is named, and all that it must have are said.
# Wrong
    source probe: in = 1 V
    opamp A1: plus in
    in -- R1 10k -- ground
# Right
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
"##,
    ),
    (
        "said_twice",
        r##"Something that can hold only once is said a second time.
# Wrong
    supply 9 V
    supply 5 V
    source probe: in = 1 V
    in -- R1 10k -- ground
# Right
    supply 9 V
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "inside_name",
        r##"The inside of a block can be read from outside and is never wired from there: what is to be wired is a port.
# Wrong
    block divider: in, out
      in -- R1 10k -- out -- R2 10k -- ground
    end

    circuit half
    source probe: in = 1 V
    divider D1: in in, out mid
    D1.out -- R3 10k -- ground
# Right
    block divider: in, out
      in -- R1 10k -- out -- R2 10k -- ground
    end

    circuit half
    source probe: in = 1 V
    divider D1: in in, out mid
    mid -- R3 10k -- ground
"##,
    ),
    (
        "ring",
        r##"Values that are worked out from each other need one that stands alone.
# Wrong
    let a = 2 * b
    let b = a / 2
    source probe: in = 1 V
    in -- R1 10k -- ground
# Right
    let b = 5k
    let a = 2 * b
    source probe: in = 1 V
    in -- R1 (a) -- ground
"##,
    ),
    (
        "no_value",
        r##"Nodes and elements have a value; op-amps, sources and blocks have currents and powers, and no value of their own.
# Wrong
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
    expect A1 = 1 V
# Right
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R1 10k -- ground
    expect out = 1 V
"##,
    ),
    (
        "units_differ",
        r##"Only like things can be added or compared: volts with volts, ohms with ohms.
# Wrong
    source probe: in = 3 V + 2 ohm
    in -- R1 10k -- ground
# Right
    source probe: in = 3 V + 2 ohm * 1 A
    in -- R1 10k -- ground
"##,
    ),
    (
        "unit_needed",
        r##"The unit is part of the value. Only an element of a path may leave it out; it is then in ohms.
# Wrong
    source probe: in = 5
    in -- R1 10k -- ground
# Right
    source probe: in = 5 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "unit_misplaced",
        r##"Vpp and Vrms tell the size of a wave, and decibels a ratio that stands alone.
# Wrong
    source probe: in = 2 Vpp
    in -- R1 10k -- ground
# Right
    source probe: in = 2 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "not_positive",
        r##"Resistances, capacitances and inductances are above zero. A wire is one node name at both places.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- mid -- R2 0 -- ground
# Right
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "division_by_zero",
        r##"A value is divided by something that comes to zero.
# Wrong
    let a = 2
    source probe: in = 1 V / (a - 2)
    in -- R1 10k -- ground
# Right
    let a = 2
    source probe: in = 1 V / (a - 1)
    in -- R1 10k -- ground
"##,
    ),
    (
        "drive_form",
        r##"The node equations stay linear: a source is driven by a constant, or by a sum of constants times voltages of other
nodes.
# Wrong
    source a_source: a = 1 V
    source b_source: b = 2 V
    a -- R1 10k -- b
    source product: c = a * b
    c -- R2 10k -- ground
# Right
    source a_source: a = 1 V
    source b_source: b = 2 V
    a -- R1 10k -- b
    source sum: c = 2 * a + b
    c -- R2 10k -- ground
"##,
    ),
    (
        "rail_not_held",
        r##"A rail is a voltage that does not move: a value, or a node that a source holds at one.
# Wrong
    supply vcc
    source probe: in = 1 V
    in -- R1 10k -- vcc -- R2 10k -- ground
    opamp A1: plus in, minus out, drives out
    out -- R3 10k -- ground
# Right
    source battery: vcc = 9 V
    supply vcc
    source probe: in = 1 V
    in -- R1 10k -- vcc
    opamp A1: plus in, minus out, drives out
    out -- R3 10k -- ground
"##,
    ),
    (
        "start_nowhere",
        r##"Only what stores energy starts with something: a capacitor with its voltage, an inductor with its current.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- mid -- C1 1 uF -- ground
    start in = 2 V
# Right
    source probe: in = 1 V
    in -- R1 10k -- mid -- C1 1 uF -- ground
    start mid = 0 V
"##,
    ),
    (
        "which_source",
        r##"A response is driven by one source. Where several reach its lower node, the file says which one is meant.
# Wrong
    source a_probe: a = 1 V
    source b_probe: b = 2 V
    a -- R1 10k -- x -- R2 10k -- b
    x -- R3 10k -- out -- R4 10k -- ground
    response out / x from 1 Hz to 1 kHz
# Right
    source a_probe: a = 1 V
    source b_probe: b = 2 V
    a -- R1 10k -- x -- R2 10k -- b
    x -- R3 10k -- out -- R4 10k -- ground
    response out / x driven by a_probe from 1 Hz to 1 kHz
"##,
    ),
    (
        "use_file",
        r##"A used file lies in the same workspace, and does not use the file that uses it.
# Wrong
    use "drawer_of_nobody.amp"

    circuit tray
    source probe: in = 1 V
    in -- R1 10k -- ground
# Right
    circuit tray
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "newer_version",
        r##"The first line may say for which version of the language a file is written. An older tool then says so instead of
guessing.
# Wrong
    ampersum 9
    source probe: in = 1 V
    in -- R1 10k -- ground
# Right
    ampersum 1
    source probe: in = 1 V
    in -- R1 10k -- ground
"##,
    ),
    (
        "too_big",
        r##"There are limits to what a file may say, far beyond what anyone writes by hand, so that a broken file cannot hold up
the tool.
# Wrong
    source probe: in = 1 V
    in -- R1 (2^40 * 1 ohm) -- ground
# Right
    source probe: in = 1 V
    in -- R1 (2^10 * 1 ohm) -- ground
"##,
    ),
];
