;;; ampersum-mode.el --- Op-amp circuits as text -*- lexical-binding: t -*-

;; Version: 0.1.0
;; Package-Requires: ((emacs "26.3"))
;; Keywords: languages

;;; Commentary:

;; A major mode for files that end in `.amp'.  `M-x eglot' starts `ampersum serve' in them: findings, node voltages on
;; hover, explained equations and fixes come from there.

;;; Code:

(defgroup ampersum nil
  "Op-amp circuits as text."
  :group 'languages)

(defcustom ampersum-program "ampersum"
  "The program to run."
  :type 'string)

(defconst ampersum--statements
  '("ampersum" "use" "circuit" "part" "block" "work" "end" "supply" "start" "expect" "problem" "ask" "answer" "find"
    "vary" "require" "record" "response" "allow" "let" "source" "opamps")
  "Words that begin a statement.")

(defconst ampersum--words
  '("plus" "minus" "drives" "part" "supply" "from" "into" "to" "wiper" "total" "anode" "cathode" "value" "rated" "sine"
    "square" "triangle" "step" "through" "offset" "duty" "always" "within" "linear" "latches" "oscillates" "finding"
    "goes" "high" "low" "rail" "points" "among" "by" "driven" "and" "for" "at")
  "Words inside a statement.")

(defconst ampersum--functions
  '("parallel" "abs" "sqrt" "min" "max" "log10" "nearest" "current" "power" "phase")
  "Functions of expressions.")

(defconst ampersum--name "[[:alpha:]_][[:alnum:]_]*"
  "A name.")

(defconst ampersum--number
  (concat "\\_<[0-9]+\\(?:\\.[0-9]+\\)?\\(?:e[+-]?[0-9]+\\)?"
          "\\(?:\\s-*\\(?:[TGMkmunpfµμ]?\\(?:ohm\\|[Ω\u2126]\\|Vrms\\|Vpp\\|Hz\\|[VAsSFHW]\\)\\(?:/[munpµμ]?[sV]\\)?\\|dB\\|deg\\|[kMG]\\)\\_>"
          "\\|\\s-*%\\|[[:alnum:]]*\\)")
  "A number with its unit, or a marking code.")

(defvar ampersum-font-lock-keywords
  `(("##.*$" 0 font-lock-doc-face t)
    (,(concat "^\\s-*\\(" ampersum--name "\\)\\s-+\\(" ampersum--name "\\)\\s-*:")
     (1 font-lock-keyword-face) (2 font-lock-type-face))
    (,(concat "^\\s-*" (regexp-opt ampersum--statements 'symbols)) 1 font-lock-keyword-face)
    (,(concat "--\\s-*\\(" ampersum--name "\\)\\s-+[0-9(]") 1 font-lock-type-face)
    (,(concat (regexp-opt ampersum--functions 'symbols) "(") 1 font-lock-function-name-face)
    ("\\_<ground\\_>" 0 font-lock-constant-face)
    (,(regexp-opt ampersum--words 'symbols) 1 font-lock-builtin-face)
    (,ampersum--number 0 font-lock-constant-face))
  "What is coloured, and how.")

(defvar ampersum-mode-syntax-table
  (let ((table (make-syntax-table)))
    (modify-syntax-entry ?# "<" table)
    (modify-syntax-entry ?\n ">" table)
    (modify-syntax-entry ?\" "\"" table)
    (modify-syntax-entry ?_ "_" table)
    (modify-syntax-entry ?\\ "." table)
    (modify-syntax-entry ?' "." table)
    (dolist (sign '(?+ ?- ?* ?/ ?= ?< ?>)) (modify-syntax-entry sign "." table))
    table)
  "Comments run from # to the end of the line; texts have no escapes.")

;;;###autoload
(define-derived-mode ampersum-mode prog-mode "Ampersum"
  "Op-amp circuits as text."
  (setq-local comment-start "# ")
  (setq-local comment-start-skip "#+\\s-*")
  (setq-local indent-line-function #'indent-relative-first-indent-point)
  (setq-local indent-tabs-mode nil)
  (setq-local tab-width 2)
  (setq-local font-lock-defaults '(ampersum-font-lock-keywords)))

;;;###autoload
(add-to-list 'auto-mode-alist '("\\.amp\\'" . ampersum-mode))

(defvar eglot-server-programs)

(defun ampersum--contact (&optional _interactive)
  "The command that starts the server."
  (list ampersum-program "serve"))

(with-eval-after-load 'eglot
  (add-to-list 'eglot-server-programs '(ampersum-mode . ampersum--contact)))

(provide 'ampersum-mode)

;;; ampersum-mode.el ends here
