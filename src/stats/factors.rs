//! Householder QR with column scaling and column pivoting.
//!
//! Never the normal equations, which square the condition of the data (Golub and Van Loan, Matrix Computations, 5.3).

use super::design::{Design, Refusal};
use nalgebra::linalg::ColPivQR;
use nalgebra::{DMatrix, DVector, Dyn};

/// A column of which less than this part of its length is left after the others have explained it is refused:
/// its coefficient would have lost ten of sixteen digits.
const RANK_TOLERANCE: f64 = 1e-10;

/// X = Q R P' S: Q R of the columns scaled to length one (S) in pivoted order (P).
pub(super) struct Factors {
    x: DMatrix<f64>,
    lengths: DVector<f64>,
    qr: ColPivQR<f64, Dyn, Dyn>,
}

impl Factors {
    pub(super) fn of(design: &Design) -> Result<Self, Refusal> {
        let values = design.values();
        let x = DMatrix::from_fn(design.rows(), values.len(), |i, j| values[j][i]);
        let lengths = DVector::from_iterator(x.ncols(), x.column_iter().map(|column| column.norm()));
        if let Some(j) = lengths.iter().position(|length| *length == 0.0) {
            return Err(Refusal::Dependent { name: design.names().swap_remove(j), of: Vec::new() });
        }
        let qr = scaled(&x, &lengths).col_piv_qr();
        let factors = Self { x, lengths, qr };
        match factors.dependent() {
            Some(mut group) => {
                group.sort_unstable();
                let mut of: Vec<String> = group.iter().map(|j| design.columns()[*j].name.clone()).collect();
                let name = of.pop().expect("the dependent column is in its group");
                Err(Refusal::Dependent { name, of })
            }
            None => Ok(factors),
        }
    }

    /// X b.
    pub(super) fn apply(&self, coefficients: &DVector<f64>) -> DVector<f64> {
        &self.x * coefficients
    }

    /// x_i'(X'X)⁻¹x_i of each row: the square of its row of Q.
    pub(super) fn leverage(&self) -> Vec<f64> {
        self.qr.q().row_iter().map(|row| row.norm_squared()).collect()
    }

    /// Condition number of X in two norms.
    pub(super) fn condition(&self) -> f64 {
        condition(&self.x)
    }

    /// The same with each column scaled to length one.
    pub(super) fn condition_scaled(&self) -> f64 {
        condition(&scaled(&self.x, &self.lengths))
    }

    /// Columns of which each is a combination of the others, where there are such. The last in the order of the design
    /// is the one to name: what stands before it was there first.
    fn dependent(&self) -> Option<Vec<usize>> {
        let r = self.qr.r();
        let j = (0..r.ncols()).find(|&j| r[(j, j)].abs() < RANK_TOLERANCE)?;
        let order = self.order();
        let parts = r.view((0, 0), (j, j)).solve_upper_triangular(&r.view((0, j), (j, 1)))?;
        let others = (0..j).filter(|&i| parts[i].abs() > 1e-8);
        Some(others.chain([j]).map(|i| order[i]).collect())
    }

    /// Which column of X stands at each place of the pivoted order.
    fn order(&self) -> Vec<usize> {
        let mut places = DMatrix::from_fn(1, self.x.ncols(), |_, j| j);
        self.qr.p().permute_columns(&mut places);
        places.iter().copied().collect()
    }

    /// Coefficients of y, in the order of X; one step of refinement wins back a digit on ill-conditioned data
    /// (Björck, Numerical Methods for Least Squares Problems, 2.9).
    pub(super) fn solve(&self, y: &DVector<f64>) -> DVector<f64> {
        let first = self.project(y);
        let rest = y - &self.x * &first;
        first + self.project(&rest)
    }

    fn project(&self, y: &DVector<f64>) -> DVector<f64> {
        let mut rotated = y.clone();
        self.qr.q_tr_mul(&mut rotated);
        let head = rotated.rows(0, self.x.ncols()).into_owned();
        let mut solved =
            self.qr.r().solve_upper_triangular(&head).expect("no diagonal element is zero: the rank was checked");
        self.qr.p().inv_permute_rows(&mut solved);
        solved.component_div(&self.lengths)
    }

    /// (X'X)⁻¹ = S⁻¹ P R⁻¹ R⁻ᵀ P' S⁻¹.
    pub(super) fn inverse(&self) -> DMatrix<f64> {
        let p = self.x.ncols();
        let mut half = (self.qr.r().solve_upper_triangular(&DMatrix::identity(p, p)))
            .expect("no diagonal element is zero: the rank was checked");
        self.qr.p().inv_permute_rows(&mut half);
        half.row_iter_mut().zip(&self.lengths).for_each(|(mut row, length)| row /= *length);
        &half * half.transpose()
    }
}

fn scaled(x: &DMatrix<f64>, lengths: &DVector<f64>) -> DMatrix<f64> {
    let mut scaled = x.clone();
    scaled.column_iter_mut().zip(lengths).for_each(|(mut column, length)| column /= *length);
    scaled
}

/// Largest over smallest singular value.
fn condition(x: &DMatrix<f64>) -> f64 {
    let values = x.clone().qr().r().singular_values();
    values.max() / values.min()
}
