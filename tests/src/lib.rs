//! Empty: this package exists so that the tests beside it are run.
