//! A file whose pages go to the disk while more of them are made, so that little is left to wait for at the end.

use std::fs::File;
use std::io::Result;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;

/// Bytes after which the disk is set to work again: many enough that small files never are flushed on their way.
const FLUSHED_AT_ONCE: usize = 1 << 25;

/// Flushes a file from a thread of its own, which begins with the first bytes that are worth it.
pub struct Flusher {
    /// The file, until the thread has it.
    file: Option<File>,
    thread: Option<Flushing>,
    waiting: usize,
}

/// The thread, and what asks it to flush until nothing more comes.
struct Flushing {
    asks: Option<SyncSender<()>>,
    thread: JoinHandle<Result<()>>,
}

impl Flusher {
    /// For an open file.
    ///
    /// # Errors
    /// When the system gives no second handle of it.
    pub fn of(file: &File) -> Result<Flusher> {
        Ok(Flusher { file: Some(file.try_clone()?), thread: None, waiting: 0 })
    }

    /// Bytes were written.
    pub fn written(&mut self, bytes: usize) {
        self.waiting += bytes;
        if self.waiting < FLUSHED_AT_ONCE {
            return;
        }
        self.waiting = 0;
        if let Some(Flushing { asks: Some(asks), .. }) = &self.thread {
            let _ = asks.try_send(());
        }
        if let Some(file) = self.file.take() {
            // Nothing waits in it: a disk that is still at the bytes before takes these with the next ones, or with the last.
            let (sender, receiver) = sync_channel(0);
            let flushes = move || {
                std::iter::once(()).chain(receiver).try_for_each(|()| file.sync_data())?;
                file.sync_data()
            };
            self.thread = Some(Flushing { asks: Some(sender), thread: std::thread::spawn(flushes) });
        }
    }

    /// Nothing more is written here: what is there goes to the disk.
    pub fn close(&mut self) {
        if let Some(flushing) = &mut self.thread {
            flushing.asks = None;
        }
    }

    /// Waits for what is on its way to the disk.
    ///
    /// # Errors
    /// When the disk refused something: it says so once, and here.
    pub fn finish(mut self) -> Result<()> {
        self.close();
        let Some(Flushing { thread, .. }) = self.thread else { return Ok(()) };
        match thread.join() {
            Ok(flushed) => flushed,
            Err(panic) => std::panic::resume_unwind(panic),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn a_small_file_needs_no_thread_and_a_large_one_is_flushed() {
        let mut file = tempfile::tempfile().unwrap();
        let mut flusher = Flusher::of(&file).unwrap();
        flusher.written(FLUSHED_AT_ONCE - 1);
        assert!(flusher.thread.is_none());
        file.write_all(&[1; 100]).unwrap();
        flusher.written(1);
        assert!(flusher.thread.is_some() && flusher.file.is_none());
        flusher.finish().unwrap();
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn what_the_disk_refuses_is_told_at_the_end() {
        // A pipe cannot be flushed.
        let (_, writer) = std::io::pipe().unwrap();
        let mut flusher = Flusher::of(&File::from(std::os::fd::OwnedFd::from(writer))).unwrap();
        flusher.written(FLUSHED_AT_ONCE);
        assert_eq!(flusher.finish().unwrap_err().raw_os_error(), Some(rustix::io::Errno::INVAL.raw_os_error()));
    }
}
