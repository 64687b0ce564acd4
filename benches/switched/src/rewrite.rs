//! Source text with every operator put behind a switch.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use proc_macro2::Span;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, BinOp, Expr, Lit, Meta, UnOp};

/// An operator and what may stand in for it.
#[derive(Debug, Clone)]
pub struct Site {
    /// File in `src`, line and column, both from 1.
    pub place: (String, usize, usize),
    /// The operator.
    pub operator: &'static str,
    /// Its replacements.
    pub replacements: &'static [&'static str],
    /// Number of the first replacement; the others follow.
    pub first: usize,
    /// The function that it is in.
    pub function: String,
}

/// What does not compile and is left out: a place, and one of its replacements from 1, or 0 for all of them.
pub type LeftOut = BTreeSet<(String, usize, usize, usize)>;

fn replacements(op: &BinOp) -> Option<(&'static str, &'static [&'static str])> {
    Some(match op {
        BinOp::Add(_) => ("+", &["-", "*"]),
        BinOp::Sub(_) => ("-", &["+", "/"]),
        BinOp::Mul(_) => ("*", &["+", "/"]),
        BinOp::Div(_) => ("/", &["*", "%"]),
        BinOp::Rem(_) => ("%", &["/", "+"]),
        BinOp::AddAssign(_) => ("+=", &["-=", "*="]),
        BinOp::SubAssign(_) => ("-=", &["+=", "/="]),
        BinOp::MulAssign(_) => ("*=", &["+=", "/="]),
        BinOp::DivAssign(_) => ("/=", &["*=", "%="]),
        BinOp::Lt(_) => ("<", &["==", ">", "<="]),
        BinOp::Le(_) => ("<=", &[">", "<"]),
        BinOp::Gt(_) => (">", &["==", "<", ">="]),
        BinOp::Ge(_) => (">=", &["<", ">"]),
        BinOp::Eq(_) => ("==", &["!="]),
        BinOp::Ne(_) => ("!=", &["=="]),
        BinOp::And(_) => ("&&", &["||"]),
        BinOp::Or(_) => ("||", &["&&"]),
        _ => return None,
    })
}

/// A piece of text to put in: where it begins, its rank there, where what it takes the place of ends, and the text.
struct Edit {
    start: usize,
    rank: i64,
    end: usize,
    text: String,
}

/// Rewrites a file. `next` is the number of the next replacement.
pub fn rewrite(
    file: &str,
    source: &str,
    next: &mut usize,
    left_out: &LeftOut,
    sites: &mut Vec<Site>,
) -> Result<String, syn::Error> {
    let ast = syn::parse_file(source)?;
    let mut line_starts = vec![0];
    line_starts.extend(source.match_indices('\n').map(|(i, _)| i + 1));
    let mut visitor = Visitor {
        source,
        file,
        line_starts,
        functions: Vec::new(),
        edits: Vec::new(),
        rank: 0,
        next,
        left_out,
        sites,
    };
    visitor.visit_file(&ast);
    let mut edits = visitor.edits;
    // What closes stands before what opens at the same place, the inner before the outer.
    edits.sort_by_key(|e| (e.start, e.rank));
    let mut out = String::with_capacity(3 * source.len());
    let mut at = 0;
    for edit in edits {
        if edit.start > at {
            out.push_str(&source[at..edit.start]);
            at = edit.start;
        }
        out.push_str(&edit.text);
        if edit.end > at {
            // Lines keep their numbers.
            out.extend(source[at..edit.end].matches('\n'));
            at = edit.end;
        }
    }
    out.push_str(&source[at..]);
    Ok(out)
}

struct Visitor<'a> {
    source: &'a str,
    file: &'a str,
    line_starts: Vec<usize>,
    functions: Vec<String>,
    edits: Vec<Edit>,
    rank: i64,
    next: &'a mut usize,
    left_out: &'a LeftOut,
    sites: &'a mut Vec<Site>,
}

impl Visitor<'_> {
    fn offsets(&self, span: Span) -> (usize, usize) {
        let offset = |at: proc_macro2::LineColumn| {
            let start = self.line_starts[at.line - 1];
            let line = &self.source[start..];
            let column = line.char_indices().nth(at.column).map(|x| x.0);
            start + column.unwrap_or(line.len())
        };
        (offset(span.start()), offset(span.end()))
    }

    /// Numbers a place's replacements; none where it is left out.
    fn site(
        &mut self,
        span: Span,
        operator: &'static str,
        replacements: &'static [&'static str],
    ) -> Option<usize> {
        let (line, column) = (span.start().line, span.start().column + 1);
        let place = (self.file.to_owned(), line, column);
        if self.left_out.contains(&(place.0.clone(), line, column, 0)) {
            return None;
        }
        let first = *self.next;
        *self.next += replacements.len();
        self.sites.push(Site {
            place,
            operator,
            replacements,
            first,
            function: self.functions.join("::"),
        });
        Some(first)
    }

    /// Replacements of the last site that compile, with their numbers from 1.
    fn standing(&self) -> Vec<(usize, &'static str)> {
        let Some(site) = self.sites.last() else {
            return Vec::new();
        };
        let (file, line, column) = site.place.clone();
        { site.replacements.iter().enumerate() }
            .map(|(i, r)| (i + 1, *r))
            .filter(|(k, _)| !self.left_out.contains(&(file.clone(), line, column, *k)))
            .collect()
    }

    fn put(&mut self, start: usize, end: usize, text: String) {
        self.rank += 1;
        self.edits.push(Edit {
            start,
            rank: self.rank,
            end,
            text,
        });
    }

    fn around(&mut self, (start, end): (usize, usize), before: &str, after: &str) {
        self.put(start, start, before.to_owned());
        let rank = -self.rank;
        self.edits.push(Edit {
            start: end,
            rank,
            end,
            text: after.to_owned(),
        });
    }

    fn assignment(&mut self, b: &syn::ExprBinary, operator: &str, first: usize) {
        let (start, end) = self.offsets(b.span());
        let (op_start, op_end) = self.offsets(b.op.span());
        let left = self.source[start..op_start].trim().to_owned();
        let mut after = format!(") {{ __r => match crate::switches::at({first}) {{ ");
        for (k, r) in self.standing() {
            let _ = write!(after, "{k} => {left} {r} __r, ");
        }
        let _ = write!(after, "_ => {left} {operator} __r }} }})");
        self.around((start, end), "", &after);
        self.put(start, op_end, "(match (".to_owned());
        self.visit_expr(&b.right);
    }
}

fn holds_let(e: &Expr) -> bool {
    match e {
        Expr::Let(_) => true,
        Expr::Binary(b) if matches!(b.op, BinOp::And(_)) => {
            holds_let(&b.left) || holds_let(&b.right)
        }
        _ => false,
    }
}

fn is_test(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|a| match &a.meta {
        Meta::Path(p) => p.is_ident("test"),
        Meta::List(l) => l.path.is_ident("cfg") && l.tokens.to_string().starts_with("test"),
        Meta::NameValue(_) => false,
    })
}

impl<'ast> Visit<'ast> for Visitor<'_> {
    fn visit_item_mod(&mut self, i: &'ast syn::ItemMod) {
        if !is_test(&i.attrs) {
            visit::visit_item_mod(self, i);
        }
    }

    fn visit_item_fn(&mut self, i: &'ast syn::ItemFn) {
        if !is_test(&i.attrs) && i.sig.constness.is_none() {
            self.functions.push(i.sig.ident.to_string());
            visit::visit_item_fn(self, i);
            self.functions.pop();
        }
    }

    fn visit_impl_item_fn(&mut self, i: &'ast syn::ImplItemFn) {
        let shown = i.sig.ident == "fmt";
        if !is_test(&i.attrs) && i.sig.constness.is_none() && !shown {
            self.functions.push(i.sig.ident.to_string());
            visit::visit_impl_item_fn(self, i);
            self.functions.pop();
        }
    }

    // What is worked out while compiling cannot ask; types, patterns and attributes hold no formulas.
    fn visit_item_const(&mut self, _: &'ast syn::ItemConst) {}
    fn visit_item_static(&mut self, _: &'ast syn::ItemStatic) {}
    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}
    fn visit_item_enum(&mut self, _: &'ast syn::ItemEnum) {}
    fn visit_type(&mut self, _: &'ast syn::Type) {}
    fn visit_pat(&mut self, _: &'ast syn::Pat) {}
    fn visit_attribute(&mut self, _: &'ast Attribute) {}
    fn visit_generic_argument(&mut self, _: &'ast syn::GenericArgument) {}

    fn visit_expr_repeat(&mut self, r: &'ast syn::ExprRepeat) {
        self.visit_expr(&r.expr);
    }

    fn visit_local(&mut self, l: &'ast syn::Local) {
        if let Some(init) = &l.init {
            self.visit_expr(&init.expr);
            if let Some((_, diverge)) = &init.diverge {
                self.visit_expr(diverge);
            }
        }
    }

    fn visit_expr_binary(&mut self, b: &'ast syn::ExprBinary) {
        let lets = holds_let(&b.left) || holds_let(&b.right);
        let known = replacements(&b.op).filter(|_| !lets);
        let site = known
            .and_then(|(operator, with)| Some((operator, self.site(b.op.span(), operator, with)?)));
        let Some((operator, first)) = site else {
            return visit::visit_expr_binary(self, b);
        };
        if matches!(operator, "+=" | "-=" | "*=" | "/=") {
            return self.assignment(b, operator, first);
        }
        let whole = self.offsets(b.span());
        let (op_start, op_end) = self.offsets(b.op.span());
        if matches!(operator, "&&" | "||") {
            self.around(whole, "(match (", "} })");
            let stays = if operator == "&&" { "==" } else { "!=" };
            let middle = format!(
                ") {{ __l => if __l == (crate::switches::at({first}) {stays} 1) {{ __l }} else {{ "
            );
            self.put(op_start, op_end, middle);
        } else {
            // Comparisons take their sides by reference, as the language does.
            let compares = matches!(operator, "<" | "<=" | ">" | ">=" | "==" | "!=");
            let (d, open, between) = if compares {
                ("*", "(match (&(", "), &(")
            } else {
                ("", "(match ((", "), (")
            };
            let mut after = format!(")) {{ (__l, __r) => match crate::switches::at({first}) {{ ");
            for (k, r) in self.standing() {
                let _ = write!(after, "{k} => {d}__l {r} {d}__r, ");
            }
            let _ = write!(after, "_ => {d}__l {operator} {d}__r }} }})");
            self.around(whole, open, &after);
            self.put(op_start, op_end, between.to_owned());
        }
        visit::visit_expr_binary(self, b);
    }

    fn visit_expr_unary(&mut self, u: &'ast syn::ExprUnary) {
        let operator = match (&u.op, &*u.expr) {
            // A negative whole number is a pattern of its own.
            (UnOp::Neg(_), Expr::Lit(l)) if matches!(l.lit, Lit::Int(_)) => return,
            (UnOp::Neg(_), _) => "minus",
            (UnOp::Not(_), _) => "not",
            _ => return visit::visit_expr_unary(self, u),
        };
        let Some(first) = self.site(u.op.span(), operator, &["nothing"]) else {
            return visit::visit_expr_unary(self, u);
        };
        let (start, end) = self.offsets(u.span());
        let (_, op_end) = self.offsets(u.op.span());
        let (before, after) = if operator == "minus" {
            let after = format!(
                ") {{ __x => if crate::switches::at({first}) == 1 {{ __x }} else {{ -__x }} }})"
            );
            ("(match (".to_owned(), after)
        } else {
            let before = format!("((crate::switches::at({first}) == 1) ^ (!(");
            (before, ")))".to_owned())
        };
        self.around((start, end), "", &after);
        self.put(start, op_end, before);
        visit::visit_expr_unary(self, u);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_operator_asks_and_the_original_stands_last() {
        let mut sites = Vec::new();
        let text = "fn f(a: f64, b: f64) -> bool { -a * b < 2.0 && a > b }\n";
        let out = rewrite("air/f.rs", text, &mut 1, &LeftOut::new(), &mut sites).unwrap();
        let operators: Vec<&str> = sites.iter().map(|s| s.operator).collect();
        assert_eq!(operators, ["&&", "<", "*", "minus", ">"]);
        assert_eq!(sites.last().unwrap().first, 8);
        assert!(out.contains("_ => __l * __r"), "{out}");
        syn::parse_file(&out).unwrap();
    }

    #[test]
    fn tests_and_what_is_left_out_stay_as_they_are() {
        let text = "fn f(a: f64) -> f64 { a + 1.0 }\n#[cfg(test)]\nmod tests { fn g() -> f64 { 1.0 + 1.0 } }\n";
        let left_out = LeftOut::from([("f.rs".to_owned(), 1, 25, 0)]);
        let mut sites = Vec::new();
        assert_eq!(
            rewrite("f.rs", text, &mut 1, &left_out, &mut sites).unwrap(),
            text
        );
        assert!(sites.is_empty());
    }
}
