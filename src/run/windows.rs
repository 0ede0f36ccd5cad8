//! Windows of blocks through reading, audit and computation: on all processors, none waiting for another but where it needs what that
//! gives, and handed on in the order of the logs.
//!
//! A window is audited when it and the one behind it are read and the one before it is audited. It is handed on when it is computed
//! and the one before it is handed on; then one more is begun.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use rayon::Scope;

use super::RunError;
use super::block::{self, Parsed};
use super::computed::Computed;
use super::stage::Stage;
use crate::intake::IntakeError;
use crate::intake::block::Chunk;
use crate::intake::shot_rules::ShotRules;
use crate::shots::audit::{Audit, Auditor};

/// Blocks that are audited and handed on together.
const WINDOW_BLOCKS: usize = 8;
/// Windows on their way at once: one that is handed on, one that is computed, one that is audited, one behind it, one that is read,
/// and some more, so that nobody waits for the end of another's.
const ON_THEIR_WAY: usize = 8;

/// A window of computed blocks.
pub type ComputedWindow<'t> = Vec<Computed<'t>>;
/// A block that was read, or why it could not be.
type ReadBlock<'t> = Result<Parsed<'t>, IntakeError>;

/// Reads, audits and computes all blocks; `hand_on` takes them window by window in their order, with their bytes of text.
///
/// # Errors
/// When a log changes under the run, PROJ fails as a whole, or `hand_on` fails.
pub fn compute_all<'t, H>(
    stage: &Stage<'t>,
    rules: &ShotRules,
    auditor: Auditor<'t>,
    chunks: &[Chunk<'t>],
    hand_on: H,
) -> Result<(), RunError>
where
    H: FnMut(ComputedWindow<'t>, u64) -> Result<(), RunError> + Send,
{
    let windows = windows_of(chunks, auditor.rows_ahead());
    let under_way = UnderWay {
        auditor: Some(auditor),
        audited: 0,
        hand_on: Some(hand_on),
        handed_on: 0,
        read: BTreeMap::new(),
        computed: BTreeMap::new(),
        failed: None,
    };
    let work = Work { stage, rules, windows: &windows, under_way: Mutex::new(under_way), is_over: AtomicBool::new(false) };
    rayon::scope(|scope| (0..ON_THEIR_WAY).for_each(|window| work.read(scope, window)));
    let failed = work.under_way().failed.take();
    failed.map_or(Ok(()), Err)
}

/// Windows of so many blocks, and of about so many rows at least, since no audit sees farther than into the next.
fn windows_of<'c, 't>(chunks: &'c [Chunk<'t>], least_rows: usize) -> Vec<&'c [Chunk<'t>]> {
    let lines = |at: usize| match chunks.get(at + 1) {
        Some(next) if next.file == chunks[at].file => (next.first_line - chunks[at].first_line) as usize,
        _ => chunks[at].lines(),
    };
    let (mut windows, mut first, mut rows) = (Vec::new(), 0, 0);
    for at in 0..chunks.len() {
        rows += lines(at);
        if at + 1 - first >= WINDOW_BLOCKS && rows >= least_rows {
            windows.push(&chunks[first..=at]);
            (first, rows) = (at + 1, 0);
        }
    }
    windows.extend(Some(&chunks[first..]).filter(|rest| !rest.is_empty()));
    windows
}

/// The work and what of it is under way.
struct Work<'w, 't, H> {
    stage: &'w Stage<'t>,
    rules: &'w ShotRules,
    windows: &'w [&'w [Chunk<'t>]],
    under_way: Mutex<UnderWay<'t, H>>,
    /// Whether nobody wants what is not begun yet, since something failed.
    is_over: AtomicBool,
}

struct UnderWay<'t, H> {
    /// The auditor, while it is at no window.
    auditor: Option<Auditor<'t>>,
    /// Windows audited.
    audited: usize,
    /// What takes windows, while it has none.
    hand_on: Option<H>,
    /// Windows handed on.
    handed_on: usize,
    /// Windows that are read, in part or whole.
    read: BTreeMap<usize, Gathered<ReadBlock<'t>>>,
    /// Windows that are computed, in part or whole.
    computed: BTreeMap<usize, Gathered<Computed<'t>>>,
    failed: Option<RunError>,
}

/// What came so far of the blocks of a window, in their order.
struct Gathered<T> {
    blocks: Vec<Option<T>>,
    missing: usize,
}

impl<T> Gathered<T> {
    fn new(blocks: usize) -> Gathered<T> {
        Gathered { blocks: std::iter::repeat_with(|| None).take(blocks).collect(), missing: blocks }
    }

    /// Puts a block in its place; true where it was the last one missing.
    fn put(&mut self, index: usize, block: T) -> bool {
        self.blocks[index] = Some(block);
        self.missing -= 1;
        self.missing == 0
    }
}

/// Takes a window out where nothing of it is missing.
fn take_whole<T>(windows: &mut BTreeMap<usize, Gathered<T>>, window: usize) -> Option<Vec<T>> {
    windows.get(&window).filter(|gathered| gathered.missing == 0)?;
    Some(windows.remove(&window)?.blocks.into_iter().flatten().collect())
}

impl<'w, 't, H> Work<'w, 't, H>
where
    H: FnMut(ComputedWindow<'t>, u64) -> Result<(), RunError> + Send,
{
    fn under_way(&self) -> MutexGuard<'_, UnderWay<'t, H>> {
        self.under_way.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Has a task done, unless all is over.
    fn spawn<'s>(&'s self, scope: &Scope<'s>, task: impl FnOnce(&Scope<'s>) -> Result<(), RunError> + Send + 's) {
        scope.spawn(move |scope| {
            if self.is_over.load(Ordering::Relaxed) {
                return;
            }
            if let Err(error) = task(scope) {
                self.is_over.store(true, Ordering::Relaxed);
                self.under_way().failed.get_or_insert(error);
            }
        });
    }

    /// Begins to read a window, where there is one.
    fn read<'s>(&'s self, scope: &Scope<'s>, window: usize) {
        let Some(chunks) = self.windows.get(window) else { return };
        self.under_way().read.insert(window, Gathered::new(chunks.len()));
        for (index, chunk) in chunks.iter().enumerate() {
            self.spawn(scope, move |scope| {
                let parsed = block::parse(chunk, self.stage.joiner, self.stage.logs, self.rules);
                let is_whole = self.under_way().read.get_mut(&window).is_some_and(|read| read.put(index, parsed));
                if is_whole { self.audit(scope) } else { Ok(()) }
            });
        }
    }

    /// Audits the windows whose turn it is, and begins to compute them.
    fn audit<'s>(&'s self, scope: &Scope<'s>) -> Result<(), RunError> {
        while let Some((mut auditor, window, read)) = self.next_to_audit() {
            // What fails is told of the first block that does.
            let mut read = read.into_iter().collect::<Result<Vec<_>, _>>()?;
            self.with_behind(window, |behind| {
                let next = behind.iter().filter_map(|block| block.as_ref()?.as_ref().ok()).flat_map(|parsed| &parsed.audits);
                let mut rows: Vec<&mut [Audit]> = read.iter_mut().map(|parsed| parsed.audits.as_mut_slice()).collect();
                auditor.window(&mut rows, next);
            });
            let mut under_way = self.under_way();
            // The last one needs it no more, and its memory is given back while others compute.
            under_way.auditor = (window + 1 < self.windows.len()).then_some(auditor);
            under_way.audited = window + 1;
            under_way.computed.insert(window, Gathered::new(read.len()));
            drop(under_way);
            for (index, parsed) in read.into_iter().enumerate() {
                self.spawn(scope, move |scope| self.compute(scope, window, index, &parsed));
            }
        }
        Ok(())
    }

    /// The auditor and the window whose turn it is, where neither of it nor of the one behind it anything is missing.
    fn next_to_audit(&self) -> Option<(Auditor<'t>, usize, Vec<ReadBlock<'t>>)> {
        let mut under_way = self.under_way();
        let window = under_way.audited;
        let is_last = window + 1 == self.windows.len();
        if !is_last && under_way.read.get(&(window + 1)).is_none_or(|behind| behind.missing > 0) {
            return None;
        }
        under_way.auditor.as_ref()?;
        let read = take_whole(&mut under_way.read, window)?;
        Some((under_way.auditor.take()?, window, read))
    }

    /// Lends the blocks of the window behind one to its audit: whole, as it is, nobody else asks for it.
    fn with_behind(&self, window: usize, audit: impl FnOnce(&[Option<ReadBlock<'t>>])) {
        let behind = self.under_way().read.remove(&(window + 1));
        audit(behind.as_ref().map_or(&[], |behind| behind.blocks.as_slice()));
        if let Some(behind) = behind {
            self.under_way().read.insert(window + 1, behind);
        }
    }

    /// Computes a block, and hands its window on where it is the last of it.
    fn compute<'s>(&'s self, scope: &Scope<'s>, window: usize, index: usize, parsed: &Parsed<'t>) -> Result<(), RunError> {
        let computed = self.stage.map_block(parsed).map_err(RunError::crs("crs"))?;
        let is_whole = self.under_way().computed.get_mut(&window).is_some_and(|gathered| gathered.put(index, computed));
        if is_whole { self.hand_on(scope) } else { Ok(()) }
    }

    /// Hands on the windows whose turn it is, and begins as many.
    fn hand_on<'s>(&'s self, scope: &Scope<'s>) -> Result<(), RunError> {
        while let Some((mut hand_on, window, computed)) = self.next_to_hand_on() {
            self.read(scope, window + ON_THEIR_WAY);
            hand_on(computed, self.windows[window].iter().map(|chunk| chunk.text.len() as u64).sum())?;
            let mut under_way = self.under_way();
            (under_way.hand_on, under_way.handed_on) = (Some(hand_on), window + 1);
        }
        Ok(())
    }

    /// What takes windows and the one whose turn it is, where nothing of it is missing.
    fn next_to_hand_on(&self) -> Option<(H, usize, ComputedWindow<'t>)> {
        let mut under_way = self.under_way();
        let window = under_way.handed_on;
        under_way.hand_on.as_ref()?;
        let computed = take_whole(&mut under_way.computed, window)?;
        Some((under_way.hand_on.take()?, window, computed))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_have_the_rows_that_an_audit_looks_ahead() {
        // Three lines a block; the second file begins in the middle.
        let chunks: Vec<Chunk> =
            (0..40).map(|i| Chunk { file: i / 21, text: "a\nb\nc\n", first_line: 3 * (i % 21) as u64 + 2 }).collect();
        let blocks = |least_rows| windows_of(&chunks, least_rows).iter().map(|window| window.len()).collect::<Vec<_>>();
        assert_eq!(blocks(0), [8; 5]);
        assert_eq!(blocks(24), [8; 5]);
        assert_eq!(blocks(25), [9, 9, 9, 9, 4]);
        assert_eq!(blocks(1000), [40]);
        assert!(windows_of(&[], 6).is_empty());
    }
}
