;;; emacs.el --- Drives Emacs as a user would -*- lexical-binding: t -*-

;; With the files of `editors/emacs'; prints what is seen, one line a thing.
;; emacs --batch -q -l emacs.el, with AMPERSUM_PROGRAM, AMPERSUM_EDITOR, AMPERSUM_FILE

;;; Code:

(require 'package)
(package-initialize)
(require 'eglot)
(require 'flymake)
(add-to-list 'load-path (getenv "AMPERSUM_EDITOR"))
(require 'ampersum-mode)
(setq ampersum-program (getenv "AMPERSUM_PROGRAM"))
(setq eglot-sync-connect 20
      eglot-autoshutdown nil
      eglot-send-changes-idle-time 0.05
      eglot-confirm-server-initiated-edits nil
      ;; A menu reads a word here, and no window.
      last-nonmenu-event ?x
      use-dialog-box nil)

(defun say (what words)
  (princ (format "%s: %s\n" what (replace-regexp-in-string "\n" "⏎" (format "%s" words)))))

(defun wait (what ready)
  (let ((tries 400))
    (while (and (> tries 0) (not (funcall ready)))
      (accept-process-output nil 0.05)
      (setq tries (1- tries)))
    (unless (funcall ready) (say "too long" what))))

(defun choose (title)
  "Take the code action with this TITLE."
  (advice-add 'completing-read :override
              (lambda (_prompt items &rest _)
                (or (car (member title (all-completions "" items)))
                    (progn (say "no such action" (all-completions "" items)) title)))
              '((name . ampersum-choice)))
  (unwind-protect
      (condition-case trouble
          (eglot-code-actions (point) (point) nil t)
        (error (say "trouble" (error-message-string trouble))))
    (advice-remove 'completing-read 'ampersum-choice)))

(setq coding-system-for-write 'utf-8)
(set-language-environment "UTF-8")
(find-file (getenv "AMPERSUM_FILE"))
(say "mode" major-mode)
(font-lock-ensure)
(goto-char (point-min))
(search-forward "drives")
(say "colour of drives" (get-text-property (1- (point)) 'face))
;; In batch no command loop runs, which `eglot-ensure' waits for.
(call-interactively #'eglot)
(wait "the server" #'eglot-current-server)
(flymake-mode 1)

;; Changes are sent when Emacs idles, which it never does in batch.
(defun findings ()
  (eglot--signal-textDocument/didChange)
  (flymake-start)
  (flymake-diagnostics))
(wait "diagnostics" #'findings)
(dolist (it (findings))
  (say "squiggle" (format "%s at %s" (car (split-string (flymake-diagnostic-text it) "\n"))
                          (buffer-substring (flymake-diagnostic-beg it) (flymake-diagnostic-end it)))))

;; What the echo area shows for the last word of the path.
(goto-char (point-min))
(search-forward "33k -- out")
(backward-char 1)
(say "hover"
     (eglot--dbind ((Hover) contents range)
         (jsonrpc-request (eglot-current-server) :textDocument/hover (eglot--TextDocumentPositionParams))
       (eglot--hover-info contents range)))

(say "outline" (mapcar #'car (funcall imenu-create-index-function)))

;; The way to where a name comes from.
(goto-char (point-min))
(search-forward "minus s")
(call-interactively #'xref-find-definitions)
(say "definition" (format "line %d" (line-number-at-pos)))

;; The explanation of the equation at `sum', which this client can only be given as a comment.
(goto-char (point-min))
(search-forward "-- s")
(choose "Explain the equation at `sum`")
(wait "the explanation" (lambda () (save-excursion (goto-char (point-min)) (search-forward "# Equation at sum" nil t))))
(goto-char (point-min))
(when (search-forward "# Equation at sum" nil t)
  (beginning-of-line)
  (let ((start (point)))
    (search-forward "in -- R1")
    (beginning-of-line)
    (say "explanation" (buffer-substring start (point)))))

;; The fix at the finding.
;; Once the findings have followed the text, which the comment has moved.
(wait "the finding at its new place"
      (lambda ()
        (let ((found (car (findings))))
          (and found (equal "4,7" (buffer-substring (flymake-diagnostic-beg found) (flymake-diagnostic-end found)))))))
(let ((found (car (findings))))
  (goto-char (flymake-diagnostic-beg found))
  (choose (getenv "AMPERSUM_FIX"))
  (say "fixed line" (buffer-substring (line-beginning-position) (line-end-position))))
(wait "the end of findings" (lambda () (null (findings))))
(say "findings left" (length (findings)))

(let ((process (jsonrpc--process (eglot-current-server))))
  (eglot-shutdown (eglot-current-server))
  (wait "the end" (lambda () (not (process-live-p process))))
  (say "server" (if (process-live-p process) "still there" "gone")))
(set-buffer-modified-p nil)
;;; emacs.el ends here
