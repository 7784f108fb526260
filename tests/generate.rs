//! Random circuits: amplifiers put together from the stages of the trade, networks without op-amps, and tangles of anything.

use crate::net::{Decimal, Drive, Kind, Net, Part, ZERO};
use crate::random::Random;

/// Sound by construction: one answer, all feedback negative.
pub fn amplifier(random: &mut Random, name: &str) -> Net {
    let mut maker = Maker::new(random, name);
    for _ in 0..maker.random.between(1, 3) {
        maker.input();
    }
    for _ in 0..maker.random.between(1, 5) {
        maker.stage();
        if maker.random.chance(50) {
            maker.extra();
        }
    }
    maker.net
}

/// The same with op-amps of which most are real ones.
pub fn real_amplifier(random: &mut Random, name: &str) -> Net {
    let mut net = amplifier(random, name);
    for opamp in net.opamps() {
        let mut figures = Vec::new();
        let mut figure = |random: &mut Random, property, least: i32, most: i32, signed: bool| {
            if random.chance(60) {
                let digits = random.between(10, 99) as i64;
                let sign = if signed && random.chance(50) { -1 } else { 1 };
                let exponent = least + random.below((most - least) as usize + 1) as i32;
                figures.push((property, Decimal::new(sign * digits, exponent)));
            }
        };
        figure(random, "gain", 3, 6, false);
        figure(random, "rejection", 3, 5, false);
        figure(random, "offset", -5, -4, true);
        figure(random, "bias_current", -10, -8, true);
        figure(random, "bias_offset", -11, -9, true);
        figure(random, "input_resistance", 4, 6, false);
        figure(random, "output_resistance", 0, 1, false);
        if !figures.is_empty() {
            net.figures.insert(opamp, figures);
        }
    }
    net
}

/// Op-amps with rails in a web of resistors, their inputs and outputs anywhere: feedback of every kind, and several op-amps that move each other.
pub fn limited(random: &mut Random, name: &str) -> Net {
    let mut maker = Maker::new(random, name);
    let count = maker.random.between(1, 4);
    maker.input();
    let outputs: Vec<String> = (0..count).map(|_| maker.node()).collect();
    let mut held = maker.held.clone();
    held.extend(outputs.iter().cloned());
    held.push("ground".to_owned());
    for output in &outputs {
        let inputs: [String; 2] = std::array::from_fn(|_| match maker.random.below(4) {
            0 => maker.random.pick(&held).clone(),
            _ => {
                let node = maker.node();
                // Most often something of the op-amp's own output comes back.
                let first = match maker.random.chance(50) {
                    true => output.clone(),
                    false => maker.random.pick(&held).clone(),
                };
                maker.resistor(&first, &node);
                for _ in 0..maker.random.between(1, 2) {
                    let from = maker.random.pick(&held).clone();
                    maker.resistor(&from, &node);
                }
                node
            }
        });
        let [plus, minus] = inputs;
        if plus == minus {
            let level = maker.volts();
            maker.voltage(output, "ground", Drive::constant(level));
            continue;
        }
        maker.opamp(&plus, &minus, output);
        let low = Decimal::new(-(maker.random.below(16) as i64), 0);
        let high = Decimal::new(1 + maker.random.below(16) as i64, 0);
        let opamp = format!("A{}", maker.counts[4]);
        maker.net.rails.insert(opamp, [low, high]);
    }
    maker.net
}

/// One or two op-amps whose inputs hang on resistors and capacitors from outputs, a source and ground: with feedback that is slow or quick, either way.
pub fn reactive(random: &mut Random, name: &str) -> Net {
    let mut maker = Maker::new(random, name);
    maker.input();
    let outputs: Vec<String> = (0..maker.random.between(1, 2))
        .map(|_| maker.node())
        .collect();
    let mut held = maker.held.clone();
    held.extend(outputs.iter().cloned());
    held.push("ground".to_owned());
    for output in &outputs {
        let [plus, minus]: [String; 2] = std::array::from_fn(|_| {
            let pin = maker.node();
            for way in 0..maker.random.between(2, 3) {
                let from = match way {
                    0 => output.clone(),
                    _ => maker.random.pick(&held).clone(),
                };
                match maker.random.below(5) {
                    0 => maker.element(Kind::Capacitor, &from, &pin),
                    1 => {
                        let unnamed = maker.count(6, "~");
                        maker.resistor(&from, &unnamed);
                        maker.element(Kind::Capacitor, &unnamed, &pin);
                    }
                    _ => maker.resistor(&from, &pin),
                }
            }
            pin
        });
        maker.opamp(&plus, &minus, output);
    }
    maker.net
}

/// Sound by construction, without op-amps: resistors hold all nodes together, and no two voltages are held against each other.
pub fn network(random: &mut Random, name: &str) -> Net {
    let mut maker = Maker::new(random, name);
    let nodes = maker.random.between(2, 7);
    maker.web(nodes);
    maker.sources(true);
    maker.net
}

/// Anything, with an answer or without: the reference says which.
pub fn tangle(random: &mut Random, name: &str) -> Net {
    let mut maker = Maker::new(random, name);
    let nodes = maker.random.between(3, 7);
    maker.web(nodes);
    if maker.random.chance(40) {
        let named: Vec<usize> = (0..maker.net.parts.len())
            .filter(|&place| match &maker.net.parts[place] {
                Part::Element { ends, .. } => ends.iter().all(|end| !end.starts_with('~')),
                _ => false,
            })
            .collect();
        if named.len() > 1 {
            let lost = *maker.random.pick(&named);
            maker.net.parts.remove(lost);
        }
    }
    maker.sources(true);
    let all = maker.all.clone();
    for _ in 0..maker.random.between(1, 3) {
        let plus = maker.random.pick(&all).clone();
        let minus = maker.random.pick(&all).clone();
        let drives = maker.random.pick(&all[1..]).clone();
        if plus != minus && maker.joins(&drives, "ground") {
            maker.opamp(&plus, &minus, &drives);
        }
    }
    maker.forget_reads_of_nothing();
    maker.net
}

const E24: [i64; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];

struct Maker<'a> {
    random: &'a mut Random,
    net: Net,
    /// Held by a source or an op-amp, upstream of what comes next.
    held: Vec<String>,
    /// Ground first.
    all: Vec<String>,
    /// Nodes that a source or an output holds together: a node's group.
    groups: Vec<usize>,
    counts: [usize; 7],
}

impl<'a> Maker<'a> {
    fn new(random: &'a mut Random, name: &str) -> Self {
        let style = random.next();
        Self {
            random,
            net: Net {
                name: name.to_owned(),
                style,
                ..Net::default()
            },
            held: Vec::new(),
            all: vec!["ground".to_owned()],
            groups: vec![0],
            counts: [0; 7],
        }
    }

    fn count(&mut self, place: usize, letter: &str) -> String {
        self.counts[place] += 1;
        format!("{letter}{}", self.counts[place])
    }

    fn node(&mut self) -> String {
        let node = self.count(0, "n");
        self.all.push(node.clone());
        self.groups.push(self.groups.len());
        node
    }

    /// Whether an edge that fixes a voltage closes no ring; it then counts as there.
    fn joins(&mut self, a: &str, b: &str) -> bool {
        let place = |node: &str| {
            self.all
                .iter()
                .position(|it| it == node)
                .expect("made here")
        };
        let (a, b) = (self.groups[place(a)], self.groups[place(b)]);
        for group in &mut self.groups {
            if *group == a {
                *group = b;
            }
        }
        a != b
    }

    fn ohms(&mut self) -> Decimal {
        Decimal::new(
            *self.random.pick(&E24),
            *self.random.pick(&[1, 2, 2, 3, 3, 4]),
        )
    }

    fn volts(&mut self) -> Decimal {
        let size = Decimal::new(
            self.random.between(1, 99) as i64,
            *self.random.pick(&[-3, -2, -1]),
        );
        self.signed(size)
    }

    fn amps(&mut self) -> Decimal {
        let size = Decimal::new(
            self.random.between(1, 99) as i64,
            *self.random.pick(&[-6, -5]),
        );
        self.signed(size)
    }

    fn signed(&mut self, size: Decimal) -> Decimal {
        if self.random.chance(35) {
            size.times(Decimal::new(-1, 0))
        } else {
            size
        }
    }

    fn element(&mut self, kind: Kind, a: &str, b: &str) {
        let (name, value) = match kind {
            Kind::Resistor => (self.count(1, "R"), self.ohms()),
            Kind::Capacitor => {
                let value = Decimal::new(*self.random.pick(&E24), *self.random.pick(&[-10, -9]));
                (self.count(2, "C"), value)
            }
            Kind::Inductor => {
                let value = Decimal::new(*self.random.pick(&E24), *self.random.pick(&[-4, -3]));
                (self.count(3, "L"), value)
            }
        };
        let mut ends = [a.to_owned(), b.to_owned()];
        if !a.starts_with('~') && !b.starts_with('~') && self.random.chance(40) {
            ends.swap(0, 1);
        }
        self.net.parts.push(Part::Element {
            name,
            kind,
            value,
            ends,
        });
    }

    fn resistor(&mut self, a: &str, b: &str) {
        self.element(Kind::Resistor, a, b);
    }

    /// A resistor, or two or three in a row whose middle nodes have no name.
    fn resistance(&mut self, a: &str, b: &str) {
        let mut from = a.to_owned();
        while self.random.chance(25) {
            let unnamed = self.count(6, "~");
            self.resistor(&from, &unnamed);
            from = unnamed;
        }
        self.resistor(&from, b);
    }

    fn opamp(&mut self, plus: &str, minus: &str, drives: &str) {
        let name = self.count(4, "A");
        self.net.parts.push(Part::Opamp {
            name,
            plus: plus.to_owned(),
            minus: minus.to_owned(),
            drives: drives.to_owned(),
        });
    }

    fn voltage(&mut self, plus: &str, minus: &str, drive: Drive) {
        let name = self.count(5, "S");
        self.net.parts.push(Part::Voltage {
            name,
            plus: plus.to_owned(),
            minus: minus.to_owned(),
            drive,
        });
    }

    fn current(&mut self, from: &str, into: &str, drive: Drive) {
        let name = self.count(5, "S");
        self.net.parts.push(Part::Current {
            name,
            from: from.to_owned(),
            into: into.to_owned(),
            drive,
        });
    }

    fn some_held(&mut self) -> String {
        self.random.pick(&self.held).clone()
    }

    /// A held node or ground.
    fn level(&mut self) -> String {
        if self.random.chance(50) {
            "ground".to_owned()
        } else {
            self.some_held()
        }
    }

    fn input(&mut self) {
        let node = self.node();
        let below = if !self.held.is_empty() && self.random.chance(25) {
            self.some_held()
        } else {
            "ground".to_owned()
        };
        let volts = self.volts();
        self.voltage(&node, &below, Drive::constant(volts));
        self.held.push(node);
    }

    /// One stage of the trade between held nodes and a new output, which is held from then on.
    fn stage(&mut self) {
        let out = self.node();
        match self.random.below(13) {
            0 | 1 => {
                let (plus, sum) = (self.level(), self.node());
                for _ in 0..self.random.between(1, 3) {
                    let input = self.some_held();
                    self.resistance(&input, &sum);
                }
                self.feedback(&sum, &out);
                self.opamp(&plus, &sum, &out);
            }
            2 => {
                let (plus, fb, foot) = (self.some_held(), self.node(), self.level());
                self.resistance(&out, &fb);
                self.resistance(&fb, &foot);
                self.opamp(&plus, &fb, &out);
            }
            3 => {
                let plus = self.divider();
                self.opamp(&plus, &out, &out);
            }
            4 => {
                let (a, b, foot) = (self.some_held(), self.some_held(), self.level());
                let (p, n) = (self.node(), self.node());
                self.resistance(&a, &p);
                self.resistance(&p, &foot);
                self.resistance(&b, &n);
                self.feedback(&n, &out);
                self.opamp(&p, &n, &out);
            }
            5 => {
                let (a, b) = (self.some_held(), self.some_held());
                let [x, y, u, w, n, p] = std::array::from_fn(|_| self.node());
                self.opamp(&a, &x, &u);
                self.opamp(&b, &y, &w);
                self.resistance(&u, &x);
                self.resistor(&x, &y);
                self.resistance(&y, &w);
                self.resistor(&u, &n);
                self.resistor(&n, &out);
                self.resistor(&w, &p);
                self.resistor(&p, "ground");
                self.opamp(&p, &n, &out);
                self.held.extend([u, w]);
            }
            6 => {
                let (sum, level, amps) = (self.node(), self.level(), self.amps());
                self.current(&level, &sum, Drive::constant(amps));
                self.feedback(&sum, &out);
                self.opamp("ground", &sum, &out);
            }
            7 => self.current_pump(&out),
            8 => {
                // An op-amp whose loop runs through a second, non-inverting one.
                let (input, middle, fb, low) =
                    (self.some_held(), self.node(), self.node(), self.node());
                self.opamp(&input, &fb, &middle);
                self.opamp(&middle, &low, &out);
                self.resistor(&out, &low);
                self.resistor(&low, "ground");
                self.resistor(&out, &fb);
                self.resistor(&fb, "ground");
            }
            9 => {
                // The same through an inverting one: the first takes its feedback at plus.
                let (input, middle, fb, sum) =
                    (self.some_held(), self.node(), self.node(), self.node());
                self.opamp(&fb, &input, &middle);
                self.resistor(&middle, &sum);
                self.resistor(&sum, &out);
                self.opamp("ground", &sum, &out);
                self.resistance(&out, &fb);
                self.resistor(&fb, "ground");
            }
            10 => {
                // Two-pole low pass of gain 1.
                let (input, x, y) = (self.some_held(), self.node(), self.node());
                self.resistor(&input, &x);
                self.resistor(&x, &y);
                self.element(Kind::Capacitor, &x, &out);
                self.element(Kind::Capacitor, &y, "ground");
                self.opamp(&y, &out, &out);
            }
            11 => {
                let (plus, sum, tee, input) =
                    (self.level(), self.node(), self.node(), self.some_held());
                self.resistance(&input, &sum);
                self.resistance(&sum, &tee);
                self.resistance(&tee, &out);
                self.resistor(&tee, "ground");
                self.opamp(&plus, &sum, &out);
            }
            _ => {
                let middle = self.measured();
                self.opamp(&middle, &out, &out);
            }
        }
        self.held.push(out);
    }

    /// A pump into a load at ground: R1/R2 on the minus side equals R3/R4 on the plus side, so the load decides for negative.
    fn current_pump(&mut self, out: &str) {
        let (input, foot, n, load) = (self.some_held(), self.level(), self.node(), self.node());
        let (r1, r3) = (self.ohms(), self.ohms());
        let ratio = Decimal::new(self.random.between(1, 9) as i64, 0);
        for (a, b, value) in [
            (foot.as_str(), n.as_str(), r1),
            (&n, out, r1.times(ratio)),
            (&input, &load, r3),
            (&load, out, r3.times(ratio)),
        ] {
            self.resistor(a, b);
            if let Some(Part::Element { value: last, .. }) = self.net.parts.last_mut() {
                *last = value;
            }
        }
        self.resistance(&load, "ground");
        self.opamp(&load, &n, out);
    }

    /// From an output back to a minus input.
    fn feedback(&mut self, minus: &str, out: &str) {
        self.resistance(minus, out);
        match self.random.below(6) {
            0 | 1 => self.element(Kind::Capacitor, minus, out),
            2 => self.resistance(out, minus),
            _ => {}
        }
    }

    /// A new node between two held ones.
    fn divider(&mut self) -> String {
        let (top, foot, middle) = (self.some_held(), self.level(), self.node());
        self.resistance(&top, &middle);
        self.resistance(&middle, &foot);
        if self.random.chance(30) {
            let amps = self.amps();
            let level = self.level();
            self.current(&middle, &level, Drive::constant(amps));
        }
        middle
    }

    /// A new node that a controlled source, or a coil, keeps where it is.
    fn measured(&mut self) -> String {
        let (a, b, node) = (self.some_held(), self.some_held(), self.node());
        let mut controls = vec![(self.ratio(), a.clone())];
        if a != b && self.random.chance(60) {
            controls.push((self.ratio(), b));
        }
        match self.random.below(4) {
            0 => {
                let mut below = self.level();
                if controls.iter().any(|(_, node)| *node == below) {
                    below = "ground".to_owned();
                }
                let constant = if self.random.chance(30) {
                    self.volts()
                } else {
                    ZERO
                };
                self.voltage(&node, &below, Drive { constant, controls });
                self.resistance(&node, "ground");
            }
            1 => {
                for (factor, _) in &mut controls {
                    factor.exponent -= 4;
                }
                self.current(
                    "ground",
                    &node,
                    Drive {
                        constant: ZERO,
                        controls,
                    },
                );
                self.resistance(&node, "ground");
            }
            2 => {
                self.element(Kind::Inductor, &a, &node);
                self.resistance(&node, "ground");
            }
            _ => {
                // A cell that stands on a divider.
                let below = self.divider();
                let volts = self.volts();
                self.voltage(&node, &below, Drive::constant(volts));
                self.resistance(&node, "ground");
            }
        }
        node
    }

    fn ratio(&mut self) -> Decimal {
        let size = Decimal::new(self.random.between(1, 49) as i64, -1);
        self.signed(size)
    }

    /// What changes no voltage: loads and bridges between held nodes.
    fn extra(&mut self) {
        let (a, b) = (self.some_held(), self.level());
        match self.random.below(4) {
            _ if a == b => self.resistance(&a, "ground"),
            0 => self.element(Kind::Capacitor, &a, &b),
            1 => {
                let (amps, level) = (self.amps(), self.level());
                if level != a {
                    self.current(&a, &level, Drive::constant(amps));
                }
            }
            _ => self.resistance(&a, &b),
        }
    }

    /// New nodes, each tied to an earlier one by a resistor, and some more elements between any two.
    fn web(&mut self, nodes: usize) {
        for _ in 0..nodes {
            let earlier = self.random.pick(&self.all).clone();
            let node = self.node();
            self.resistance(&earlier, &node);
        }
        for _ in 0..self.random.between(1, nodes + 1) {
            let [a, b] = std::array::from_fn(|_| self.random.pick(&self.all).clone());
            if a == b {
                continue;
            }
            match self.random.below(6) {
                0 => self.element(Kind::Capacitor, &a, &b),
                1 if self.joins(&a, &b) => self.element(Kind::Inductor, &a, &b),
                _ => self.resistance(&a, &b),
            }
        }
    }

    /// A node exists by standing in a path, in a device or left of `=`; a current source and a drive only read it.
    fn forget_reads_of_nothing(&mut self) {
        let mut there = vec!["ground".to_owned()];
        for part in &mut self.net.parts {
            let ends = match part {
                Part::Current { .. } => 0,
                Part::Opamp { .. } => 3,
                _ => 2,
            };
            let nodes = part.nodes_mut().into_iter().take(ends);
            there.extend(nodes.map(|node| node.clone()));
        }
        self.net.parts.retain(|part| match part {
            Part::Current { from, into, .. } => there.contains(from) && there.contains(into),
            _ => true,
        });
        for part in &mut self.net.parts {
            if let Part::Voltage { drive, .. } | Part::Current { drive, .. } = part {
                drive.controls.retain(|(_, node)| there.contains(node));
            }
        }
    }

    /// Sources between any two nodes, some controlled.
    fn sources(&mut self, controlled: bool) {
        for _ in 0..self.random.between(1, 4) {
            let [a, b, c, d] = std::array::from_fn(|_| self.random.pick(&self.all).clone());
            if a == b {
                continue;
            }
            let mut controls = Vec::new();
            if controlled && self.random.chance(30) {
                for node in [c, d] {
                    if node != "ground" && controls.iter().all(|(_, other)| *other != node) {
                        controls.push((self.ratio(), node));
                    }
                }
            }
            if self.random.chance(40) {
                for (factor, _) in &mut controls {
                    factor.exponent -= 4;
                }
                let constant = self.amps();
                self.current(&a, &b, Drive { constant, controls });
            } else {
                let (plus, minus) = if a == "ground" { (b, a) } else { (a, b) };
                controls.retain(|(_, node)| *node != plus && *node != minus);
                if self.joins(&plus, &minus) {
                    let constant = self.volts();
                    self.voltage(&plus, &minus, Drive { constant, controls });
                }
            }
        }
    }
}
